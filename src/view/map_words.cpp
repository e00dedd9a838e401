#include "view/map_words.h"

#include <fmt/format.h>

#include <algorithm>

#include "judge/limits.h"
#include "seen/reality.h"
#include "view/map_figures.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

const char* outcome_words(std::size_t place) {
  static constexpr const char* words[] = {"answered",    "late",     "garbled",   "mismatched", "refused", "stale",
                                          "wrong value", "no reply", "truncated", "bad ask",    "other"};
  return place < std::size(words) ? words[place] : words[outcome_count];
}

std::string station_name(const RunInfo& run, std::size_t station) {
  return station < run.nodes.size() ? run.nodes[station] : std::string("controller");
}

}  // namespace

std::string head_text(const MapScene& scene, std::size_t room) {
  const auto& run = *scene.run;
  const auto reality = reality_of(run);
  const auto named = fmt::format("{} seed {}  {}", run.scenario, run.seed, scene.capture);
  const auto whole = fmt::format("{}: {}", in_passing(reality), named);
  return fitted(code_points(whole).size() <= room ? whole : fmt::format("{}: {}", in_short(reality), named), room);
}

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

std::string row_words(const MapRow& row, const RunInfo& run) {
  if (row.place.kind == MapPlace::Kind::passing) return "in " + station_name(run, row.place.index);
  if (row.place.kind == MapPlace::Kind::answering) return "tries to " + station_name(run, row.place.index);
  const auto& link = run.links[row.place.index];
  if (row.is_fold()) {
    return fmt::format("hops {} to {}", hop_number(link), hop_number(run.links[row.place.index + row.hops - 1]));
  }
  return fmt::format("hop {} {} -> {}", hop_number(link), link.from, link.to);
}

std::vector<std::string> cursor_words(const MapScene& scene, std::size_t room) {
  if (scene.cursor_row >= scene.rows.size() || scene.cursor_column >= scene.columns.size()) return {"", ""};
  const auto& row = scene.rows[scene.cursor_row];
  const auto& column = scene.columns[scene.cursor_column];
  const auto& slice = column.slice;
  const bool of_hop = row.place.kind == MapPlace::Kind::hop;
  std::string first;
  if (column.read == ReadState::none) return {row_words(row, *scene.run) + ": not read yet", scene.note};
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
  const auto full = row_words(row, *scene.run) + ": " + first;
  const bool fits = code_points(full).size() <= room || !of_hop || row.is_fold();
  first = fits ? full : "hop " + hop_number(scene.run->links[row.place.index]) + ": " + first;
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

}  // namespace hopbench
