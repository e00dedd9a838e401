#include "view/map.h"

#include <fmt/format.h>

#include <algorithm>

#include "view/map_figures.h"
#include "view/map_words.h"
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
  auto details = cursor_words(scene, room);
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
