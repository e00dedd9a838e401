// The rows of the map: hops and stations with their figures, sorted, and those without trouble folded.
#pragma once

#include <optional>
#include <set>
#include <string>
#include <vector>

#include "picture/picture.h"

namespace hopbench {

/// A hop, what a station passes on or answers, or several hops of which none was lost.
struct MapRow {
  MapPlace place;
  std::size_t hops = 1;  // from place.index on
  bool unseen = false;   // nobody listened
  std::uint64_t chances = 0;
  std::uint64_t troubles = 0;
  std::uint64_t checks = 0;
  std::uint64_t framing = 0;
  std::uint64_t nothing = 0;
  StationTrouble mostly = StationTrouble::stopped;  // of a station
  // Of several hops: the longest of them.
  std::optional<Nanos> wire_median, wire_99;  // transit on the hop
  std::optional<Nanos> stay_median, stay_99;  // passing through the station at its end; a station's own
  std::optional<Nanos> trip_median, trip_99;  // round trips of that station

  [[nodiscard]] bool is_fold() const { return hops > 1; }
  [[nodiscard]] bool same_row(const MapRow& other) const { return place == other.place && hops == other.hops; }
};

enum class MapSort : std::uint8_t { lost, checks, wire, stay, trip, chain };
const char* name_of(MapSort sort);
MapSort next_of(MapSort sort);

struct RowWishes {
  MapSort sort = MapSort::lost;
  bool fold = true;
  std::set<std::uint16_t> open;  // links that are not folded
};

/// `part`: figures of the stretch of time that the rows are about. Worst first; folded ones last, in chain order.
std::vector<MapRow> map_rows(const RunInfo& run, const Stations& stations, const RunPart& part,
                             const RowWishes& wishes);

}  // namespace hopbench
