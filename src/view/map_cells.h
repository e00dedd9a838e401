// What stands in one place of the map: how much was lost in a column of time, on a scale that the screen states.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "picture/picture.h"
#include "view/map_rows.h"
#include "view/screen.h"

namespace hopbench {

/// 0: none; 1: up to 0.01 %; then up to .03, .1, .3, 1, 3 and 10 %; 8: more.
int loss_level(std::uint64_t troubles, std::uint64_t chances);
inline constexpr int most_level = 8;
/// The sign of a level: · ▁ ▂ ▃ ▄ ▅ ▆ ▇ █.
char32_t level_glyph(int level);
/// The scale in a line of at most 80 places.
std::string loss_scale();

/// What the map's cells show.
enum class MapShows : std::uint8_t { lost, checks };

/// One place of a hop's or station's row. `after_end`: the capture ends before this column.
ScreenCell map_cell(const MapRow& row, const TimeColumn& column, const RunInfo& run, const Stations& stations,
                    MapShows shows, bool after_end);
/// What of a column is not all there: ▒ something is missing, ░ not read yet, + counts only, n one in n; else ─.
ScreenCell coverage_cell(const TimeColumn& column, bool after_end);
/// What of a column is not all there, in words; "" for nothing.
std::string missing_words(std::uint8_t missing);
/// "framing error 630, CRC error 6": what was seen in these frames, most first. `check`: "CRC" or "checksum".
std::string seen_words(const LinkCell& cell, const std::string& check);
/// Of the failed tries of a station.
std::string seen_words(const StationCell& cell, MapPlace::Kind kind);
/// A symptom in words.
std::string symptom_words(Symptom symptom, const std::string& check);

/// One lane under the map: a figure of the whole chain over time.
struct Lane {
  std::string label;
  std::string value;  // of all columns together
  std::vector<ScreenCell> cells;
};
std::vector<Lane> map_lanes(std::span<const TimeColumn> columns, Nanos from, Nanos span, Nanos until);

}  // namespace hopbench
