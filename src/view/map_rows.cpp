#include "view/map_rows.h"

#include <algorithm>

namespace hopbench {
namespace {

constexpr std::uint32_t half = 500'000;
constexpr std::uint32_t most = 990'000;

void take_longer(std::optional<Nanos>& longest, std::optional<Nanos> other) {
  if (other && (!longest || *other > *longest)) longest = other;
}

void put_station_times(MapRow& row, const RunPart& part, std::size_t station) {
  if (station < part.stays.size()) {
    const auto& times = part.stays[station];
    const auto& stays = row.place.kind == MapPlace::Kind::answering ? times.answering : times.passing;
    row.stay_median = stays.percentile(half);
    row.stay_99 = stays.percentile(most);
  }
  if (station + 1 < part.measures.nodes.size()) {
    row.trip_median = part.measures.nodes[station].round_trip.percentile(half);
    row.trip_99 = part.measures.nodes[station].round_trip.percentile(most);
  }
}

MapRow hop_row(const RunInfo& run, const Stations& stations, const RunPart& part, std::uint16_t link) {
  MapRow row;
  row.place = {MapPlace::Kind::hop, link};
  row.unseen = run.links[link].vantage == Vantage::unseen;
  if (link < part.measures.links.size()) {
    const auto& measures = part.measures.links[link];
    const auto of = [&](Symptom symptom) { return measures.symptoms[static_cast<std::size_t>(symptom)]; };
    row.chances = measures.frames_in;
    row.troubles = measures.frames_in - std::min(measures.frames_in, measures.frames_out);
    row.checks = of(Symptom::check);
    row.framing = of(Symptom::framing);
    row.nothing = of(Symptom::nothing);
    row.wire_median = measures.transit.percentile(half);
    row.wire_99 = measures.transit.percentile(most);
  }
  if (stations.to(link) != stations.controller()) put_station_times(row, part, stations.to(link));
  return row;
}

/// Frames that reached a station.
std::uint64_t reached(const Stations& stations, const RunPart& part, std::uint16_t station) {
  std::uint64_t sum = 0;
  for (std::size_t i = 0; i < std::min(stations.links(), part.measures.links.size()); ++i) {
    if (stations.to(i) == station) sum += part.measures.links[i].frames_out;
  }
  return sum;
}

MapRow station_row(const Stations& stations, const RunPart& part, MapPlace place) {
  MapRow row;
  row.place = place;
  row.troubles = troubles_at(part.tried, place);
  const auto& cell = part.tried.stations[place.index];
  row.chances = place.kind == MapPlace::Kind::answering ? cell.tries : reached(stations, part, place.index);
  std::uint32_t largest = 0;
  for (std::size_t i = 0; i < station_trouble_count; ++i) {
    const auto trouble = static_cast<StationTrouble>(i);
    if (kind_of(trouble) != place.kind || cell.of(trouble) < largest) continue;
    largest = cell.of(trouble);
    row.mostly = trouble;
  }
  put_station_times(row, part, place.index);
  return row;
}

/// Larger is worse.
double badness(const MapRow& row, MapSort sort) {
  const auto of = [](std::optional<Nanos> time) { return time ? static_cast<double>(*time) : -1; };
  switch (sort) {
    case MapSort::lost:
      return static_cast<double>(row.troubles);
    case MapSort::checks:
      return static_cast<double>(row.checks);
    case MapSort::wire:
      return of(row.wire_99);
    case MapSort::stay:
      return of(row.stay_99);
    case MapSort::trip:
      return of(row.trip_99);
    case MapSort::chain:
      break;
  }
  return 0;
}

bool can_join(const MapRow& fold, const MapRow& row) {
  return fold.place.kind == MapPlace::Kind::hop && fold.place.index + fold.hops == row.place.index &&
         fold.unseen == row.unseen;
}

void join(MapRow& fold, const MapRow& row) {
  ++fold.hops;
  fold.chances += row.chances;
  take_longer(fold.wire_median, row.wire_median);
  take_longer(fold.wire_99, row.wire_99);
  take_longer(fold.stay_median, row.stay_median);
  take_longer(fold.stay_99, row.stay_99);
  take_longer(fold.trip_median, row.trip_median);
  take_longer(fold.trip_99, row.trip_99);
}

}  // namespace

const char* name_of(MapSort sort) {
  switch (sort) {
    case MapSort::lost:
      return "most lost first";
    case MapSort::checks:
      return "most check errors first";
    case MapSort::wire:
      return "longest on the wire first";
    case MapSort::stay:
      return "longest in the station first";
    case MapSort::trip:
      return "longest round trip first";
    case MapSort::chain:
      return "in chain order";
  }
  return "";
}

MapSort next_of(MapSort sort) {
  return sort == MapSort::chain ? MapSort::lost : static_cast<MapSort>(static_cast<int>(sort) + 1);
}

std::vector<MapRow> map_rows(const RunInfo& run, const Stations& stations, const RunPart& part,
                             const RowWishes& wishes) {
  std::vector<MapRow> rows;
  std::vector<MapRow> folded;
  // By times each hop has its own place.
  const bool by_times = wishes.sort == MapSort::wire || wishes.sort == MapSort::stay || wishes.sort == MapSort::trip;
  // In chain order each station stands behind the first hop that ends in it.
  std::vector<bool> told(stations.count(), false);
  const auto add_station = [&](std::uint16_t station) {
    if (station >= part.tried.stations.size() || told[station]) return;
    told[station] = true;
    for (const auto kind : {MapPlace::Kind::passing, MapPlace::Kind::answering}) {
      const MapPlace place{kind, station};
      if (troubles_at(part.tried, place) > 0) rows.push_back(station_row(stations, part, place));
    }
  };
  for (std::uint16_t link = 0; link < run.links.size(); ++link) {
    const auto row = hop_row(run, stations, part, link);
    if (wishes.fold && !by_times && row.troubles == 0 && !wishes.open.contains(link)) {
      auto& place = wishes.sort == MapSort::chain ? rows : folded;
      if (!place.empty() && can_join(place.back(), row) && place.back().troubles == 0 &&
          !wishes.open.contains(place.back().place.index)) {
        join(place.back(), row);
      } else {
        place.push_back(row);
      }
    } else {
      rows.push_back(row);
    }
    add_station(stations.to(link));
  }
  for (std::uint16_t station = 0; station < told.size(); ++station) add_station(station);
  if (wishes.sort != MapSort::chain) {
    std::stable_sort(rows.begin(), rows.end(), [&](const MapRow& a, const MapRow& b) {
      return badness(a, wishes.sort) > badness(b, wishes.sort);
    });
  }
  rows.insert(rows.end(), folded.begin(), folded.end());
  return rows;
}

}  // namespace hopbench
