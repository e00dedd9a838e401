// What the map shows, as values: for the map, and for its figures and words.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "view/map_cells.h"
#include "view/map_rows.h"

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

}  // namespace hopbench
