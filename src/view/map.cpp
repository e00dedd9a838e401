#include "view/map.h"

#include <fmt/format.h>

#include <algorithm>

#include "judge/limits.h"
#include "seen/reality.h"
#include "study/words.h"
#include "view/map_figures.h"
#include "view/moments.h"
#include "view/number_text.h"
#include "view/short_names.h"

namespace hopbench {
namespace {

constexpr int number_width = 6;  // mark, number and a space
constexpr int heads = 5;         // lines above the rows
constexpr int lane_count = 5;

Nanos column_start(const MapScene& scene, std::size_t column) {
  return scene.from + scene.span * static_cast<Nanos>(column);
}

/// What was real comes first, so that it is never what gives way to a narrow screen.
std::string head_text(const MapScene& scene, std::size_t room) {
  const auto& run = *scene.run;
  const auto reality = reality_of(run);
  const auto named = fmt::format("{} seed {}  {}", run.scenario, run.seed, scene.capture);
  const auto whole = fmt::format("{}: {}", in_passing(reality), named);
  return fitted(code_points(whole).size() <= room ? whole : fmt::format("{}: {}", in_short(reality), named), room);
}

const char* outcome_words(std::size_t place) {
  static constexpr const char* words[] = {"answered",    "late",     "garbled",   "mismatched", "refused", "stale",
                                          "wrong value", "no reply", "truncated", "bad ask",    "other"};
  return place < std::size(words) ? words[place] : words[outcome_count];
}

/// What became of all tries, and how many failed; the kinds that find no room in one line are left out.
std::string totals_text(const MapScene& scene, std::size_t room) {
  const auto& tried = scene.whole->tried;
  std::string text = scene.filter.empty() ? "" : "only " + scene.filter + ": ";
  if (!scene.whole_read) text += "READ SO FAR: ";
  const auto all = tried.all();
  if (all == 0) return text + "no tries";
  if (tried.failed() == 0) {
    const auto share = share_of(0, all);
    return text + fmt::format("none of {} failed (at most {} %)", counted(all, "try", "tries"),
                              share ? percent(share->high) : "-");
  }
  text += fmt::format("FAILED {} of {}, {} %", grouped(tried.failed()), counted(all, "try", "tries"),
                      percent(static_cast<double>(tried.failed()) / static_cast<double>(all)));
  std::vector<std::pair<std::uint32_t, std::size_t>> kinds;
  for (std::size_t i = 1; i < tried.by_outcome.size(); ++i) {
    if (tried.by_outcome[i] > 0) kinds.emplace_back(tried.by_outcome[i], i);
  }
  std::stable_sort(kinds.begin(), kinds.end(), [](const auto& a, const auto& b) { return a.first > b.first; });
  const char* before = ": ";
  for (const auto& [count, place] : kinds) {
    const auto more = fmt::format("{}{} {}", before, outcome_words(place), grouped(count));
    if (text.size() + more.size() > room) break;
    text += more;
    before = ", ";
  }
  return text;
}

std::string trips_text(const MapScene& scene, std::size_t room) {
  const auto& measures = scene.whole->measures;
  const auto& trips = measures.all.round_trip;
  std::string text = fmt::format("Round trip ms: median {}, 99 % {}, longest {}", short_ms(trips.percentile(500'000)),
                                 short_ms(trips.percentile(990'000)), short_ms(trips.most()));
  if (scene.run->time_out) text += fmt::format(" (time-out {})", short_ms(*scene.run->time_out));
  std::uint64_t bursts = 0;
  const auto lengths = measures.bursts.lengths();
  for (std::size_t i = 1; i < lengths.size(); ++i) bursts += lengths[i];
  const auto longest = measures.bursts.longest_of_all();
  if (bursts == 0 || !longest) return text;
  const auto full = fmt::format("; failures in a row: {}, the longest {}", times(bursts), longest->length);
  return text.size() + full.size() <= room ? text + full : text + fmt::format("; bursts {}", grouped(bursts));
}

std::string hop_number(const LinkInfo& link) { return std::to_string(link.hop) + (link.homeward ? "<" : ""); }

std::string station_name(const RunInfo& run, std::size_t station) {
  return station < run.nodes.size() ? run.nodes[station] : std::string("controller");
}

void put_label(Screen& screen, const MapScene& scene, const MapRow& row, const std::vector<std::string>& names,
               int width, int y) {
  const auto& run = *scene.run;
  if (row.is_fold()) {
    const auto& last = run.links[row.place.index + row.hops - 1];
    const auto room = static_cast<std::size_t>(number_width + width - 1);
    auto text = fmt::format("{}-{} ", hop_number(run.links[row.place.index]), hop_number(last));
    const auto count = fmt::format("{} hops", row.hops);
    text += text.size() + count.size() <= room ? count : fmt::format("({})", row.hops);
    screen.put(1, y, fitted(text, room), Ink::dim);
    return;
  }
  if (row.place.kind == MapPlace::Kind::hop) {
    const auto& link = run.links[row.place.index];
    screen.put_right(link.homeward ? 6 : 5, y, hop_number(link), Ink::plain);
    screen.put(number_width, y, names[scene.stations->to(row.place.index)], Ink::plain);
    return;
  }
  screen.put_right(5, y, row.place.kind == MapPlace::Kind::passing ? "in" : "to", Ink::timing);
  screen.put(number_width, y, names[std::min<std::size_t>(row.place.index, run.nodes.size())], Ink::plain);
}

void put_axis(Screen& screen, const MapScene& scene, const MapLayout& layout, int y) {
  // Labels as close as they may stand.
  Nanos step = column_spans.back();
  for (const Nanos longer : column_spans) {
    if (longer < scene.span || longer % scene.span != 0) continue;
    const Nanos widest = longer < one_day ? 11 * one_hour : scene.until;
    if (longer / scene.span <= static_cast<Nanos>(axis_text(widest, longer).size())) continue;
    step = longer;
    break;
  }
  int free_from = 0;
  for (std::size_t i = 0; i < scene.columns.size(); ++i) {
    const Nanos start = column_start(scene, i);
    if (start % step != 0 || start > scene.until) continue;
    const auto text = axis_text(start, step);
    const int x = static_cast<int>(i);
    if (x < free_from || x + static_cast<int>(text.size()) > static_cast<int>(layout.columns)) continue;
    screen.put(layout.cells_left + x, y, text, Ink::dim);
    free_from = x + static_cast<int>(text.size()) + 1;
  }
}

void put_rows(Screen& screen, const MapScene& scene, const MapLayout& layout) {
  const auto& run = *scene.run;
  auto all = run.nodes;
  all.emplace_back(layout.name_width < 10 ? "control" : "controller");
  const auto names = short_names(all, static_cast<std::size_t>(layout.name_width));
  for (std::size_t i = 0; i < layout.rows && scene.first_row + i < scene.rows.size(); ++i) {
    const auto index = scene.first_row + i;
    const auto& row = scene.rows[index];
    const int y = layout.rows_top + static_cast<int>(i);
    if (index == scene.cursor_row) screen.put(0, y, U'▶', Ink::strong);
    put_label(screen, scene, row, names, layout.name_width, y);
    put_figures(screen, row, layout.figures_left, y);
    for (std::size_t column = 0; column < std::min(layout.columns, scene.columns.size()); ++column) {
      const bool after_end = column_start(scene, column) >= scene.until;
      const auto cell = map_cell(row, scene.columns[column], run, *scene.stations, scene.shows, after_end);
      const int x = layout.cells_left + static_cast<int>(column);
      screen.put(x, y, cell.glyph, cell.ink);
      if (index == scene.cursor_row && column == scene.cursor_column) screen.reverse(x, y, 1);
    }
  }
}

void put_rule(Screen& screen, const MapScene& scene, const MapLayout& layout, int y) {
  const auto hidden = scene.rows.size() - std::min(scene.rows.size(), layout.rows);
  for (int x = 0; x < screen.width(); ++x) screen.put(x, y, U'─', Ink::dim);
  if (hidden > 0) {
    const auto last = std::min(scene.rows.size(), scene.first_row + layout.rows);
    screen.put(1, y, fmt::format(" rows {} to {} of {} ", scene.first_row + 1, last, scene.rows.size()), Ink::strong);
  }
  for (std::size_t i = 0; i < std::min(layout.columns, scene.columns.size()); ++i) {
    const Nanos start = column_start(scene, i);
    const auto cell = coverage_cell(scene.columns[i], start >= scene.until);
    const int x = layout.cells_left + static_cast<int>(i);
    screen.put(x, y, cell.glyph, cell.ink);
    const bool noted = std::any_of(scene.notes.begin(), scene.notes.end(),
                                   [&](Nanos at) { return at >= start && at < start + scene.span; });
    if (noted) screen.put(x, y, U'▶', Ink::strong);
  }
}

void put_lanes(Screen& screen, const MapScene& scene, const MapLayout& layout) {
  int y = layout.lanes_top;
  for (const auto& lane : map_lanes(scene.columns, scene.from, scene.span, scene.until)) {
    screen.put(number_width, y, lane.label, Ink::dim);
    screen.put_right(layout.cells_left - 1, y, lane.value);
    for (std::size_t i = 0; i < std::min(layout.columns, lane.cells.size()); ++i) {
      screen.put(layout.cells_left + static_cast<int>(i), y, lane.cells[i].glyph, lane.cells[i].ink);
    }
    ++y;
  }
}

void put_cursor_time(Screen& screen, const MapScene& scene, const MapLayout& layout, int y) {
  const Nanos start = column_start(scene, scene.cursor_column);
  const auto text = stretch_text(start, start + scene.span, scene.span);
  const int x = layout.cells_left + static_cast<int>(scene.cursor_column);
  screen.put(x, y, U'▲', Ink::strong);
  const int size = static_cast<int>(text.size());
  if (x + 2 + size <= screen.width()) {
    screen.put(x + 2, y, text, Ink::strong);
  } else {
    screen.put_right(x - 1, y, text, Ink::strong);
  }
}

/// Signs of what was not seen, where there are any.
std::string scale_text(const Screen& screen, int width) {
  auto text = loss_scale();
  const auto all = screen.text(false);
  const auto add = [&](const char* glyph, const char* words) {
    const auto more = fmt::format("  {} {}", glyph, words);
    const bool room = code_points(text + more).size() <= static_cast<std::size_t>(width);
    if (all.find(glyph) != std::string::npos && room) text += more;
  };
  add("▒", "gap");
  add("░", "unread");
  add("╎", "unheard");
  return text;
}

}  // namespace

MapLayout map_layout(int width, int height, std::size_t rows, std::size_t more) {
  MapLayout layout;
  layout.fits = width >= least_width && height >= least_height;
  if (!layout.fits) return layout;
  layout.name_width = width >= 160 ? 20 : width >= 110 ? 10 : 8;
  layout.figures_left = number_width + layout.name_width;
  layout.cells_left = layout.figures_left + figures_width(width) + 1;
  layout.columns = static_cast<std::size_t>(width - layout.cells_left);
  // Rule, lanes, the cursor's time, two lines of details, scale, keys.
  const auto room = static_cast<std::size_t>(height - heads - 1 - lane_count - 1 - 2 - 2);
  layout.rows = std::clamp<std::size_t>(rows, 1, room);
  // A heading alone is of no use.
  constexpr std::size_t least_more = 5;
  const auto left = room - layout.rows;
  layout.details = 2 + (left < std::min(least_more, more) ? 0 : std::min(left, more));
  layout.lanes_top = heads + static_cast<int>(layout.rows) + 1;
  layout.details_top = layout.lanes_top + lane_count + 1;
  return layout;
}

std::string row_words(const MapRow& row, const RunInfo& run) {
  if (row.place.kind == MapPlace::Kind::passing) return "in " + station_name(run, row.place.index);
  if (row.place.kind == MapPlace::Kind::answering) return "tries to " + station_name(run, row.place.index);
  const auto& link = run.links[row.place.index];
  if (row.is_fold()) {
    return fmt::format("hops {} to {}", hop_number(link), hop_number(run.links[row.place.index + row.hops - 1]));
  }
  return fmt::format("hop {} {} -> {}", hop_number(link), link.from, link.to);
}

std::vector<std::string> cursor_words(const MapScene& scene) {
  if (scene.cursor_row >= scene.rows.size() || scene.cursor_column >= scene.columns.size()) return {"", ""};
  const auto& row = scene.rows[scene.cursor_row];
  const auto& column = scene.columns[scene.cursor_column];
  const auto& slice = column.slice;
  const bool of_hop = row.place.kind == MapPlace::Kind::hop;
  std::string first = row_words(row, *scene.run) + ": ";
  if (column.read == ReadState::none) return {first + "not read yet", scene.note};
  std::uint64_t troubles = 0;
  std::uint64_t chances = 0;
  LinkCell seen;
  for (std::size_t i = 0; i < row.hops; ++i) {
    const MapPlace place{row.place.kind, static_cast<std::uint16_t>(row.place.index + i)};
    troubles += troubles_at(slice, place);
    chances += chances_at(slice, *scene.stations, place);
    if (of_hop && place.index < slice.links.size()) seen.add(slice.links[place.index]);
  }
  const char* what = row.place.kind == MapPlace::Kind::answering ? "tries" : "frames";
  if (row.unseen) {
    first += "nobody listened here";
  } else if (chances == 0 && troubles == 0) {
    first += fmt::format("no {} here", what);
  } else if (troubles == 0) {
    first += fmt::format("none of {} {} lost", grouped(chances), what);
  } else {
    const auto share = share_of(std::min(troubles, chances), chances);
    first += fmt::format("{} of {} {}", grouped(troubles), grouped(chances), what);
    if (share) {
      first += fmt::format(", {} % ({} to {})", percent(share->value), percent(share->low), percent(share->high));
    }
    const auto station = std::min<std::size_t>(row.place.index, slice.tried.stations.size() - 1);
    first +=
        ": " + (of_hop ? seen_words(seen, scene.check) : seen_words(slice.tried.stations[station], row.place.kind));
  }
  std::string then;
  if (slice.known) {
    then = fmt::format("at most {} balancing, {:+.1f} A, warmest board {:.0f} °C",
                       counted(slice.cells_balancing, "cell"), slice.charge_ma / 1000.0, slice.board_mc / 1000.0);
  }
  const auto add = [&](const std::string& words) { then += (then.empty() || words.empty() ? "" : "; ") + words; };
  if (column.read == ReadState::some) add("read in part");
  add(missing_words(slice.missing));
  if (!scene.note.empty()) then = "note: " + scene.note + (then.empty() ? "" : "; " + then);
  return {first, then};
}

std::optional<MapSpot> spot_at(const MapLayout& layout, std::size_t first_row, std::size_t rows, int x, int y) {
  const int row = y - layout.rows_top;
  if (!layout.fits || row < 0 || row >= static_cast<int>(layout.rows)) return std::nullopt;
  MapSpot spot{first_row + static_cast<std::size_t>(row), std::nullopt};
  if (spot.row >= rows) return std::nullopt;
  if (x >= layout.cells_left) spot.column = static_cast<std::size_t>(x - layout.cells_left);
  return spot;
}

Screen map_screen(const MapScene& scene, int width, int height) {
  Screen screen(width, height);
  const auto layout = map_layout(width, height, scene.rows.size(), scene.more.size());
  if (!layout.fits) {
    screen.put(0, 0, fmt::format("{} x {} places are needed", least_width, least_height));
    return screen;
  }
  const auto room = static_cast<std::size_t>(width);
  const auto state = code_points(scene.state).size();
  screen.put(0, 0, head_text(scene, room - std::min(room - 20, state + 2)), Ink::heading);
  screen.put_right(width, 0, scene.state, Ink::strong);
  const bool failed = scene.whole->tried.failed() > 0;
  screen.put(0, 1, fitted(totals_text(scene, room), room), failed ? Ink::strong : Ink::plain);
  screen.put(0, 2, fitted(trips_text(scene, room), room));
  put_figure_heads(screen, scene, layout.figures_left, heads - 1);
  screen.put(1, heads - 2, scene.figures_in_sight ? "in sight" : "whole", Ink::dim);
  screen.put(1, heads - 1, "hop  into", Ink::dim);
  const auto shows = fmt::format("{}; 1 column = {}", scene.shows == MapShows::lost ? "lost" : scene.check + " errors",
                                 round_span_text(scene.span));
  screen.put(layout.cells_left, heads - 2, shows, Ink::dim);
  put_axis(screen, scene, layout, heads - 1);
  put_rows(screen, scene, layout);
  put_rule(screen, scene, layout, layout.lanes_top - 1);
  put_lanes(screen, scene, layout);
  put_cursor_time(screen, scene, layout, layout.details_top - 1);
  auto details = cursor_words(scene);
  details.insert(details.end(), scene.more.begin(), scene.more.end());
  for (std::size_t i = 0; i < std::min(layout.details, details.size()); ++i) {
    screen.put(0, layout.details_top + static_cast<int>(i), fitted(details[i], room), i == 0 ? Ink::plain : Ink::dim);
  }
  screen.put(0, height - 2, scale_text(screen, width), Ink::dim);
  const std::string keys = "? keys  / find  s sort  t time  d day  z unfold  n failure  Enter journey  q";
  screen.put(0, height - 1, scene.message.empty() ? keys : fitted(scene.message, room),
             scene.message.empty() ? Ink::dim : Ink::strong);
  return screen;
}

}  // namespace hopbench
