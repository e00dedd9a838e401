// The inspector's first screen: hops down, time across.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "view/map_cells.h"
#include "view/map_rows.h"
#include "view/screen.h"

namespace hopbench {

/// What the map shows, as values.
struct MapScene {
  const RunInfo* run = nullptr;
  const Stations* stations = nullptr;
  const RunPart* whole = nullptr;       // of the whole capture, as far as it is read
  std::span<const MapRow> rows;         // all of them
  std::span<const TimeColumn> columns;  // as many as fit: MapLayout.columns
  Nanos from = 0;
  Nanos span = second;            // of a column
  Nanos until = 0;                // last instant of the capture, as far as known
  bool whole_read = true;         // else figures are of what was read so far
  bool figures_in_sight = false;  // the rows' figures are those of the columns, not of the whole capture
  std::string capture;            // its name
  std::string state;              // "capture complete", "live", ...
  std::string filter;
  std::string check = "CRC";  // or "checksum"
  MapShows shows = MapShows::lost;
  std::string message;            // last line
  std::vector<Nanos> notes;       // marked spots
  std::string note;               // of the cursor's column
  std::vector<std::string> more;  // lines that are shown where there is room below
  std::size_t first_row = 0;
  std::size_t cursor_row = 0;
  std::size_t cursor_column = 0;
};

/// How a screen of this size is shared out.
struct MapLayout {
  bool fits = false;  // false: too small
  int name_width = 8;
  int figures_left = 0;
  int cells_left = 0;
  std::size_t columns = 0;
  int rows_top = 5;
  std::size_t rows = 0;  // of hops and stations
  int lanes_top = 0;     // the line above is the rule
  int details_top = 0;
  std::size_t details = 2;
};
inline constexpr int least_width = 80;
inline constexpr int least_height = 24;
/// `rows`: how many there are to show; `more`: lines that would follow the details.
MapLayout map_layout(int width, int height, std::size_t rows, std::size_t more);

Screen map_screen(const MapScene& scene, int width, int height);
/// What the cursor is on, in lines of text.
std::vector<std::string> cursor_words(const MapScene& scene);
/// "hop 27 a26 -> a27", "b3", "hops 1 to 26".
std::string row_words(const MapRow& row, const RunInfo& run);

/// The place of the screen that was clicked on; none outside the rows. `column` is none on a row's figures.
struct MapSpot {
  std::size_t row = 0;
  std::optional<std::size_t> column;
};
std::optional<MapSpot> spot_at(const MapLayout& layout, std::size_t first_row, std::size_t rows, int x, int y);

}  // namespace hopbench
