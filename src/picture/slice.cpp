// Counts of one slice, and of a part.
#include <algorithm>
#include <numeric>

#include "picture/slices.h"

namespace hopbench {
namespace {

template <std::size_t N>
void raise_all(std::array<std::uint32_t, N>& counts, const std::array<std::uint32_t, N>& by) {
  for (std::size_t i = 0; i < N; ++i) raise(counts[i], by[i]);
}

template <std::size_t N>
std::uint64_t total(const std::array<std::uint32_t, N>& counts) {
  return std::accumulate(counts.begin(), counts.end(), std::uint64_t{0});
}

}  // namespace

std::uint64_t LinkCell::frames() const { return total(seen); }

void LinkCell::add(const LinkCell& other) { raise_all(seen, other.seen); }

void StationCell::add(const StationCell& other) {
  raise(tries, other.tries);
  raise(failed, other.failed);
  raise_all(troubles, other.troubles);
}

std::uint64_t TriesMade::all() const { return total(by_outcome); }

void TriesMade::add(const TriesMade& other) {
  raise_all(by_outcome, other.by_outcome);
  stations.add(other.stations);
}

void TriesMade::count(const ExchangeObs& obs, std::uint32_t weight) {
  const auto station = std::min<std::size_t>(obs.node, stations.size() - 1);
  stations.raise_usual(station, std::uint64_t{obs.attempts.size()} * weight);
  for (const auto& each : obs.attempts) {
    raise(by_outcome[place_of(each.outcome)], weight);
    if (each.outcome != Outcome::answered) raise(stations.other(station).failed, weight);
  }
}

void TriesMade::count(StationTrouble trouble, std::uint16_t station, std::uint32_t weight) {
  raise(stations.other(station).troubles[static_cast<std::size_t>(trouble)], weight);
}

void TriesMade::count(const Measures& counts) {
  for (std::size_t i = 0; i < outcome_count; ++i) raise(by_outcome[i], counts.all.outcomes[i]);
  raise(by_outcome[outcome_count], counts.all.unknown_outcomes());
  raise(by_outcome[outcome_count], counts.all.tries - std::min(counts.all.tries, counts.all.asked));
  for (std::size_t i = 0; i < stations.size() && i < counts.nodes.size(); ++i) {
    const auto& node = counts.nodes[i];
    StationCell cell;
    raise(cell.failed, node.tries - std::min(node.tries, node[Outcome::answered]));
    raise(cell.troubles[static_cast<std::size_t>(StationTrouble::refused)],
          node[Outcome::refused] + node[Outcome::truncated]);
    raise(cell.troubles[static_cast<std::size_t>(StationTrouble::stale)],
          node[Outcome::stale] + node[Outcome::wrong] + node[Outcome::mismatched]);
    stations.raise_usual(i, node.tries);
    if (!cell.is_usual()) stations.other(i).add(cell);
  }
}

void Slice::size_for(const RunInfo& run) {
  links.resize(run.links.size());
  tried.stations.resize(run.nodes.size() + 1);
}

void Slice::add(const Slice& other) {
  links.add(other.links);
  tried.add(other.tried);
  raise(exchanges, other.exchanges);
  trips.merge(other.trips);
  missing |= other.missing;
  if (!other.known) return;
  cells_balancing = known ? std::max(cells_balancing, other.cells_balancing) : other.cells_balancing;
  charge_ma = known ? std::max(charge_ma, other.charge_ma) : other.charge_ma;
  board_mc = known ? std::max(board_mc, other.board_mc) : other.board_mc;
  known = true;
}

std::uint64_t troubles_at(const Slice& slice, MapPlace place) {
  if (place.kind == MapPlace::Kind::hop) return place.index < slice.links.size() ? slice.links[place.index].bad() : 0;
  return troubles_at(slice.tried, place);
}

std::uint64_t troubles_at(const TriesMade& tried, MapPlace station) {
  if (station.index >= tried.stations.size()) return 0;
  const auto cell = tried.stations[station.index];
  std::uint64_t sum = 0;
  for (std::size_t i = 0; i < station_trouble_count; ++i) {
    if (kind_of(static_cast<StationTrouble>(i)) == station.kind) sum += cell.troubles[i];
  }
  return sum;
}

std::uint64_t chances_at(const Slice& slice, const Stations& stations, MapPlace place) {
  if (place.kind == MapPlace::Kind::hop)
    return place.index < slice.links.size() ? slice.links[place.index].frames() : 0;
  if (place.index >= slice.tried.stations.size()) return 0;
  if (place.kind == MapPlace::Kind::answering) return slice.tried.stations[place.index].tries;
  std::uint64_t reached = 0;
  for (std::size_t i = 0; i < std::min(stations.links(), slice.links.size()); ++i) {
    if (stations.to(i) == place.index) reached += slice.links[i].seen[0];
  }
  return reached;
}

void RunPart::size_for(const RunInfo& run) {
  stays.resize(run.nodes.size());
  tried.stations.resize(run.nodes.size() + 1);
}

void RunPart::add(const RunPart& later) {
  measures.append(later.measures);
  if (stays.size() < later.stays.size()) stays.resize(later.stays.size());
  for (std::size_t i = 0; i < later.stays.size(); ++i) stays[i].merge(later.stays[i]);
  tried.add(later.tried);
  nodes = later.nodes;
}

void RunPart::count(const Stations& stations, const ExchangeObs& obs, std::uint32_t weight) {
  stations.each_stay(obs, [&](std::uint16_t station, Nanos stay, bool answering) {
    auto& times = stays[station];
    (answering ? times.answering : times.passing).add(stay, std::max(1U, obs.kept_one_in));
  });
  tried.count(obs, weight);
  stations.each_trouble(
      obs, [&](StationTrouble trouble, std::uint16_t station, Nanos) { tried.count(trouble, station, weight); });
}

}  // namespace hopbench
