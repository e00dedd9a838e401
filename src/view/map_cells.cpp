#include "view/map_cells.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "study/words.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

/// Upper ends of the levels 1 to 7, in millionths.
constexpr std::array<std::uint64_t, 7> level_ends{100, 300, 1'000, 3'000, 10'000, 30'000, 100'000};
constexpr char32_t glyphs[] = U"·▁▂▃▄▅▆▇█";

Ink ink_of(const LinkCell& cell) {
  Symptom most = Symptom::none;
  std::uint32_t count = 0;
  for (std::size_t i = 1; i < symptom_count; ++i) {
    if (cell.seen[i] <= count) continue;
    count = cell.seen[i];
    most = static_cast<Symptom>(i);
  }
  switch (most) {
    case Symptom::framing:
    case Symptom::parity:
    case Symptom::check:
      return Ink::wire;
    case Symptom::overrun:
    case Symptom::no_room:
      return Ink::timing;
    default:
      return Ink::dead;
  }
}

struct Counts {
  std::uint64_t troubles = 0;
  std::uint64_t chances = 0;
  Ink ink = Ink::timing;
};

Counts counts_of(const MapRow& row, const Slice& slice, const Stations& stations, MapShows shows) {
  Counts counts;
  if (row.place.kind != MapPlace::Kind::hop) {
    if (shows == MapShows::lost) counts.troubles = troubles_at(slice, row.place);
    counts.chances = chances_at(slice, stations, row.place);
    return counts;
  }
  LinkCell sum;
  for (std::size_t i = 0; i < row.hops && row.place.index + i < slice.links.size(); ++i) {
    sum.add(slice.links[row.place.index + i]);
  }
  counts.troubles = shows == MapShows::lost ? sum.bad() : sum.of(Symptom::check);
  counts.chances = sum.frames();
  counts.ink = ink_of(sum);
  return counts;
}

std::string listed(std::vector<std::pair<std::uint64_t, std::string>> all) {
  std::stable_sort(all.begin(), all.end(), [](const auto& a, const auto& b) { return a.first > b.first; });
  std::string text;
  for (const auto& [count, name] : all) {
    if (count > 0) text += fmt::format("{}{} {}", text.empty() ? "" : ", ", name, grouped(count));
  }
  return text;
}

using Value = std::optional<double>;

/// Bars from `low` up.
Lane lane_of(std::string label, std::span<const TimeColumn> columns, const std::vector<Value>& values, double low) {
  Lane lane;
  lane.label = std::move(label);
  double high = low;
  for (const auto& value : values) high = std::max(high, value.value_or(low));
  for (std::size_t i = 0; i < columns.size(); ++i) {
    const bool hole = (columns[i].slice.missing & missing_hole) != 0;
    if (columns[i].read != ReadState::all) {
      lane.cells.push_back({U'░', Ink::unseen, false});
    } else if (!values[i]) {
      lane.cells.push_back({hole ? U'▒' : U' ', Ink::unseen, false});
    } else {
      const double share = high > low ? (*values[i] - low) / (high - low) : 0;
      const int level = *values[i] <= low && low == 0 ? 0 : 1 + static_cast<int>(share * (most_level - 1) + 0.5);
      lane.cells.push_back({level_glyph(level), level == 0 ? Ink::dim : Ink::plain, false});
    }
  }
  return lane;
}

}  // namespace

int loss_level(std::uint64_t troubles, std::uint64_t chances) {
  if (troubles == 0) return 0;
  const double share = chances == 0 ? 1e6 : 1e6 * static_cast<double>(troubles) / static_cast<double>(chances);
  int level = 1;
  for (const auto end : level_ends) level += share > static_cast<double>(end) ? 1 : 0;
  return level;
}

char32_t level_glyph(int level) { return glyphs[std::clamp(level, 0, most_level)]; }

std::string loss_scale() { return "lost %: · 0  ▁ to .01  ▂ .03  ▃ .1  ▄ .3  ▅ 1  ▆ 3  ▇ 10  █ more"; }

ScreenCell map_cell(const MapRow& row, const TimeColumn& column, const RunInfo& run, const Stations& stations,
                    MapShows shows, bool after_end) {
  if (after_end) return {};
  if (column.read != ReadState::all) return {U'░', Ink::unseen, false};
  if (row.place.kind == MapPlace::Kind::hop) {
    const auto vantage = run.links[row.place.index].vantage;
    if (vantage == Vantage::unseen) return {U'╎', Ink::unseen, false};
    if (!is_known(vantage)) return {U'?', Ink::unseen, false};
  }
  const auto counts = counts_of(row, column.slice, stations, shows);
  if (counts.troubles > 0) return {level_glyph(loss_level(counts.troubles, counts.chances)), counts.ink, false};
  if ((column.slice.missing & missing_hole) != 0) return {U'▒', Ink::unseen, false};
  return {counts.chances > 0 ? U'·' : U' ', Ink::dim, false};
}

ScreenCell coverage_cell(const TimeColumn& column, bool after_end) {
  if (after_end) return {U'─', Ink::dim, false};
  if (column.read != ReadState::all) return {U'░', Ink::unseen, false};
  const auto missing = column.slice.missing;
  if ((missing & missing_hole) != 0) return {U'▒', Ink::unseen, false};
  if ((missing & missing_tallied) != 0) return {U'+', Ink::unseen, false};
  if ((missing & missing_thinned) != 0) return {U'n', Ink::unseen, false};
  return {U'─', Ink::dim, false};
}

std::string missing_words(std::uint8_t missing) {
  std::string words;
  const auto add = [&](std::uint8_t bit, const char* text) {
    if ((missing & bit) != 0) words += (words.empty() ? "" : ", ") + std::string(text);
  };
  add(missing_gap, "a gap in the capture");
  add(missing_dropped, "records are missing");
  add(missing_tallied, "counts only");
  add(missing_thinned, "one in n recorded");
  return words;
}

std::string symptom_words(Symptom symptom, const std::string& check) {
  switch (symptom) {
    case Symptom::none:
      return "heard well";
    case Symptom::framing:
      return "framing error";
    case Symptom::parity:
      return "parity error";
    case Symptom::check:
      return check + " error";
    case Symptom::too_short:
      return "too short";
    case Symptom::too_long:
      return "too long";
    case Symptom::overrun:
      return "overrun";
    case Symptom::no_room:
      return "longer than the buffer";
    case Symptom::nothing:
      return "nothing heard";
  }
  return std::string(name_of(symptom));
}

std::string seen_words(const LinkCell& cell, const std::string& check) {
  std::vector<std::pair<std::uint64_t, std::string>> all;
  for (std::size_t i = 1; i < symptom_count; ++i) {
    all.emplace_back(cell.seen[i], symptom_words(static_cast<Symptom>(i), check));
  }
  all.emplace_back(cell.seen[symptom_count], "unknown symptom");
  return listed(std::move(all));
}

std::string seen_words(const StationCell& cell, MapPlace::Kind kind) {
  std::vector<std::pair<std::uint64_t, std::string>> all;
  for (std::size_t i = 0; i < station_trouble_count; ++i) {
    const auto trouble = static_cast<StationTrouble>(i);
    if (kind_of(trouble) == kind) all.emplace_back(cell.of(trouble), name_of(trouble));
  }
  return listed(std::move(all));
}

std::vector<Lane> map_lanes(std::span<const TimeColumn> columns, Nanos from, Nanos span, Nanos until) {
  // Nothing stands after the end.
  const auto before_end = until > from ? static_cast<std::size_t>((until - 1 - from) / span) + 1 : 0;
  columns = columns.first(std::min(columns.size(), before_end));
  const auto values = [&](auto of) {
    std::vector<Value> all;
    for (const auto& column : columns) all.push_back(of(column.slice));
    return all;
  };
  const auto highest = [](const std::vector<Value>& all) {
    Value most;
    for (const auto& value : all) {
      if (value && (!most || *value > *most)) most = value;
    }
    return most;
  };
  std::vector<Lane> lanes;
  const auto add = [&](const char* label, const std::vector<Value>& all, double low, int digits) {
    lanes.push_back(lane_of(label, columns, all, low));
    if (const auto most = highest(all)) lanes.back().value = fmt::format("{:.{}f}", *most, digits);
  };
  TriesMade tried;
  for (const auto& column : columns) tried.add(column.slice.tried);
  Lane failed{"tries failed, %", "", {}};
  for (std::size_t i = 0; i < columns.size(); ++i) {
    const auto& here = columns[i].slice.tried;
    auto cell = coverage_cell(columns[i], false);
    if (columns[i].read == ReadState::all && here.failed() > 0) {
      cell = {level_glyph(loss_level(here.failed(), here.all())), Ink::dead, false};
    } else if (columns[i].read == ReadState::all && cell.glyph != U'▒') {
      cell = {here.all() > 0 ? U'·' : U' ', Ink::dim, false};
    }
    failed.cells.push_back(cell);
  }
  if (tried.all() > 0) failed.value = percent(static_cast<double>(tried.failed()) / static_cast<double>(tried.all()));
  lanes.push_back(std::move(failed));
  add("round trip 99 %, highest ms", values([](const Slice& slice) {
        const auto time = slice.trips.percentile(990'000);
        return time ? Value(static_cast<double>(*time) / 1e6) : Value();
      }),
      0, 0);
  add("cells balancing, most",
      values([](const Slice& slice) { return slice.known ? Value(slice.cells_balancing) : Value(); }), 0, 0);
  add("charge current, highest A",
      values([](const Slice& slice) { return slice.known ? Value(std::max(0, slice.charge_ma) / 1000.0) : Value(); }),
      0, 1);
  const auto boards = values([](const Slice& slice) { return slice.known ? Value(slice.board_mc / 1000.0) : Value(); });
  Value coldest;
  for (const auto& value : boards) {
    if (value && (!coldest || *value < *coldest)) coldest = value;
  }
  add("warmest board, °C", boards, coldest.value_or(0), 0);
  // Temperatures stand from the lowest of them up.
  if (const auto warmest = highest(boards); warmest && coldest) {
    lanes.back().value = fmt::format("{:.0f}-{:.0f}", *coldest, *warmest);
  }
  return lanes;
}

}  // namespace hopbench
