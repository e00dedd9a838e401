#include "picture/slices.h"

#include <algorithm>
#include <numeric>
#include <utility>

namespace hopbench {
namespace {

constexpr std::size_t most_cells = 500'000;
constexpr std::size_t most_slices = 7 * 24 * 60;  // a week in minutes
constexpr std::size_t most_part_rows = 4096;

/// Of a window, which may reach beyond any run.
Nanos believed(Nanos at) { return std::clamp<Nanos>(at, -farthest_instant, farthest_instant); }

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

SliceBounds bounds_for(const RunInfo& run) {
  const auto links = std::max<std::size_t>(1, run.links.size());
  const auto rows = std::max<std::size_t>(1, run.links.size() + run.nodes.size());
  return {std::clamp<std::size_t>(most_cells / links, 256, most_slices),
          std::clamp<std::size_t>(most_part_rows / rows, 8, 128)};
}

Slices::Slices(Filter filter, Nanos from, Nanos span, std::size_t count)
    : filter_(std::move(filter)), bounds_{count, 0}, fixed_(true), span_(span), first_(slot_of(from, span)) {}

void Slices::begin(const RunInfo& run) {
  run_ = run;
  stations_ = Stations(run);
  topics_.clear();
  for (const auto& entry : run.entries) {
    if (std::find(topics_.begin(), topics_.end(), entry.topic) == topics_.end()) topics_.push_back(entry.topic);
  }
  slices_.clear();
  parts_.clear();
  begun_ = false;
  known_ = false;
  since_ = 0;
  nodes_.clear();
  current_ = {};
  current_.size_for(run);
  measures_.begin(run);
  if (!fixed_) {
    bounds_ = bounds_for(run);
    span_ = part_span_ = slice_spans.front();
    first_ = part_slot_ = 0;
    return;
  }
  slices_.resize(bounds_.slices);
  for (auto& slice : slices_) slice.size_for(run);
}

void Slices::touch(Nanos when) {
  if (!begun_) from_ = until_ = when;
  begun_ = true;
  from_ = std::min(from_, when);
  until_ = std::max(until_, when);
}

void Slices::hold(Slice& slice) const {
  if (!known_) return;
  Slice now;
  now.known = true;
  now.cells_balancing = cells_balancing_;
  now.charge_ma = charge_ma_;
  now.board_mc = board_mc_;
  slice.add(now);
}

void Slices::join_slices() {
  std::deque<Slice> joined;
  const Nanos longer = longer_slice(span_);
  const auto ratio = longer / span_;
  const std::int64_t new_first = slot_of(first_, ratio);
  for (std::size_t i = 0; i < slices_.size(); ++i) {
    const auto place = static_cast<std::size_t>(slot_of(first_ + static_cast<std::int64_t>(i), ratio) - new_first);
    if (place < joined.size()) {
      joined[place].add(slices_[i]);
    } else {
      joined.push_back(std::move(slices_[i]));
    }
  }
  slices_ = std::move(joined);
  first_ = new_first;
  span_ = longer;
}

void Slices::join_parts() {
  const Nanos longer = longer_slice(part_span_);
  const auto ratio = longer / part_span_;
  std::vector<Held> joined;
  for (auto& held : parts_) {
    held.slot = slot_of(held.slot, ratio);
    if (!joined.empty() && joined.back().slot == held.slot) {
      joined.back().part.add(held.part);
    } else {
      joined.push_back(std::move(held));
    }
  }
  part_slot_ = slot_of(part_slot_, ratio);
  part_span_ = longer;
  // The current one goes on where its earlier half is held already: part() puts them together.
  parts_ = std::move(joined);
}

RunPart Slices::current_part() const {
  RunPart part = current_;
  part.measures = measures_.measures();
  part.nodes = nodes_;
  return part;
}

void Slices::roll_to(Nanos when) {
  if (fixed_) return;
  std::int64_t slot = slot_of(when, part_span_);
  if (!begun_) part_slot_ = slot;
  if (slot <= part_slot_) return;
  if (!parts_.empty() && parts_.back().slot == part_slot_) {
    parts_.back().part.add(current_part());
  } else {
    parts_.push_back({part_slot_, current_part()});
  }
  measures_.restart();
  current_ = {};
  current_.size_for(run_);
  part_slot_ = slot;
  while (parts_.size() >= bounds_.parts) join_parts();
}

Slice* Slices::at(Nanos when) {
  if (fixed_) {
    const std::int64_t place = slot_of(when, span_) - first_;
    if (place < 0 || place >= static_cast<std::int64_t>(slices_.size())) return nullptr;
    return &slices_[static_cast<std::size_t>(place)];
  }
  while (true) {
    const std::int64_t slot = slot_of(when, span_);
    if (slices_.empty()) first_ = slot;
    const std::int64_t low = std::min(slot, first_);
    const std::int64_t high = std::max(slot, first_ + static_cast<std::int64_t>(slices_.size()) - 1);
    if (high - low >= static_cast<std::int64_t>(bounds_.slices)) {
      join_slices();
      continue;
    }
    while (first_ > slot) {
      slices_.emplace_front().size_for(run_);
      --first_;
    }
    const auto place = static_cast<std::size_t>(slot - first_);
    // ConditionsThen go on through slices in which nothing else happened.
    while (slices_.size() <= place) {
      auto& fresh = slices_.emplace_back();
      fresh.size_for(run_);
      hold(fresh);
    }
    return &slices_[place];
  }
}

void Slices::exchange(const ExchangeObs& obs, const ExchangeTruth*) {
  roll_to(obs.closed);
  touch(obs.start);
  touch(obs.decided);
  if (filter_.any() && !filter_.shows(obs, run_)) return;
  // What an exchange of a thinned capture stands for is in the tallies, into which a filter cannot look.
  const std::uint32_t sample = std::max(1U, obs.kept_one_in);
  const std::uint32_t weight = filter_.any() ? sample : 1;
  if (auto* slice = at(obs.start)) {
    if (obs.start >= since_) hold(*slice);
    raise(slice->exchanges, weight);
    slice->tried.count(obs, weight);
    if (obs.round_trip >= 0) slice->trips.add(obs.round_trip, weight);
    if (sample > 1) slice->missing |= missing_thinned;
  }
  if (!fixed_) {
    measures_.exchange(obs, nullptr);
    current_.count(stations_, obs, weight);
  }
  count_frames(obs, weight);
  stations_.each_trouble(obs, [&](StationTrouble trouble, std::uint16_t station, Nanos when) {
    if (auto* slice = at(when)) slice->tried.count(trouble, station, weight);
  });
}

void Slices::count_frames(const ExchangeObs& obs, std::uint32_t weight) {
  Slice* slice = nullptr;
  Nanos low = 0;
  Nanos high = 0;
  for (const auto& row : obs.rows) {
    if (row.link >= run_.links.size() || row.inherited) continue;
    const Nanos when = row.start;
    if (when < low || when >= high) {
      slice = at(when);
      low = slot_of(when, span_) * span_;
      high = low + span_;
    }
    if (slice == nullptr) continue;
    if (row.symptom == Symptom::none) {
      slice->links.raise_usual(row.link, weight);
    } else {
      raise(slice->links.other(row.link).seen[place_of(row.symptom)], weight);
    }
  }
}

void Slices::tally(const Tally& tally) {
  roll_to(tally.to);
  touch(tally.from);
  touch(tally.to);
  auto* slice = at(tally.from);
  if (slice != nullptr) slice->missing |= missing_tallied;
  Measures measures;
  // A filter cannot look into sums.
  if (filter_.any() || !Measures::parse(tally.measures, measures) || measures.links.size() != run_.links.size()) return;
  if (!fixed_) {
    measures_.tally(tally);
    current_.tried.count(measures);
  }
  if (slice == nullptr) return;
  raise(slice->exchanges, measures.all.asked);
  slice->tried.count(measures);
  measures.all.round_trip.each_bucket(
      [&](Nanos low, Nanos high, std::uint64_t count) { slice->trips.add(low + (high - low) / 2, count); });
  for (std::size_t i = 0; i < measures.links.size(); ++i) {
    const auto& link = measures.links[i];
    LinkCell cell;
    for (std::size_t s = 1; s < symptom_count; ++s) raise(cell.seen[s], link.symptoms[s]);
    raise(cell.seen[symptom_count], link.unknown_symptoms());
    slice->links.raise_usual(i, link.symptoms[0]);
    if (!cell.is_usual()) slice->links.other(i).add(cell);
  }
}

void Slices::hold_until(Nanos when) {
  if (!begun_) return;
  if (!fixed_) {
    at(std::max(when - 1, from_));
    return;
  }
  // Of slices that are there already, those in which it held.
  const std::int64_t from = std::max<std::int64_t>(0, slot_of(since_, span_) - first_);
  const std::int64_t to = std::min<std::int64_t>(std::ssize(slices_) - 1, slot_of(when - 1, span_) - first_);
  for (std::int64_t i = from; i <= to; ++i) hold(slices_[static_cast<std::size_t>(i)]);
}

void Slices::state(const State& state) {
  roll_to(state.at);
  hold_until(state.at);
  touch(state.at);
  if (!fixed_) measures_.state(state);
  known_ = true;
  since_ = state.at;
  cells_balancing_ = state.cells_balancing;
  charge_ma_ = state.charge_ma;
  nodes_.assign(state.nodes.begin(), state.nodes.end());
  board_mc_ = nodes_.empty() ? 0 : nodes_.front().board_mc;
  for (const auto& node : nodes_) board_mc_ = std::max(board_mc_, node.board_mc);
  if (auto* slice = at(state.at)) hold(*slice);
}

void Slices::assume(const Slice& before) {
  if (!before.known || (before.missing & missing_hole) != 0) return;
  known_ = true;
  since_ = first_ * span_;
  touch(since_);
  cells_balancing_ = before.cells_balancing;
  charge_ma_ = before.charge_ma;
  board_mc_ = before.board_mc;
}

void Slices::dropped(const Dropped& dropped) {
  hole(dropped.from, dropped.to, missing_dropped);
  if (!fixed_) measures_.dropped(dropped);
}

void Slices::hole(Nanos from, Nanos to, std::uint8_t missing) {
  roll_to(from);
  hold_until(from);
  touch(from);
  touch(to);
  known_ = false;
  since_ = to;
  nodes_.clear();
  at(to);
  const std::int64_t last = std::min<std::int64_t>(slot_of(to, span_) - first_, std::ssize(slices_) - 1);
  for (auto i = std::max<std::int64_t>(slot_of(from, span_) - first_, 0); i <= last; ++i) {
    slices_[static_cast<std::size_t>(i)].missing |= missing;
  }
}

void Slices::end(Nanos until, const Lateness&) {
  touch(until);
  if (!fixed_) at(until);
}

Slice Slices::sum(Nanos from, Nanos to) const {
  Slice sum;
  sum.size_for(run_);
  if (slices_.empty() || to <= from) return sum;
  const std::int64_t low = std::max(slot_of(believed(from), span_), first_);
  const std::int64_t high =
      std::min(slot_of(believed(to) - 1, span_), first_ + static_cast<std::int64_t>(slices_.size()) - 1);
  for (std::int64_t slot = low; slot <= high; ++slot) sum.add(slices_[static_cast<std::size_t>(slot - first_)]);
  return sum;
}

RunPart Slices::part(Nanos from, Nanos to) const {
  RunPart sum;
  const std::int64_t low = slot_of(believed(from), part_span_);
  const std::int64_t high = slot_of(believed(to) - 1, part_span_);
  for (const auto& held : parts_) {
    if (held.slot >= low && held.slot <= high) sum.add(held.part);
  }
  if (part_slot_ >= low && part_slot_ <= high) sum.add(current_part());
  return sum;
}

const std::vector<NodeState>& Slices::nodes_at(Nanos at) const {
  const std::int64_t slot = slot_of(believed(at), part_span_);
  if (slot >= part_slot_ || parts_.empty()) return nodes_;
  const auto after = std::find_if(parts_.begin(), parts_.end(), [&](const Held& held) { return held.slot > slot; });
  return after == parts_.begin() ? parts_.front().part.nodes : std::prev(after)->part.nodes;
}

std::optional<Nanos> Slices::next(Nanos from, bool backwards, const std::function<bool(const Slice&)>& wanted) const {
  const auto count = static_cast<std::int64_t>(slices_.size());
  // What lies beyond the range lies beyond its last slice: else a search that goes on from that one's end finds it
  // anew.
  const std::int64_t beyond = from > farthest_instant ? 1 : from < -farthest_instant ? -1 : 0;
  const std::int64_t here = slot_of(believed(from), span_) - first_ + beyond;
  const std::int64_t step = backwards ? -1 : 1;
  for (auto i = backwards ? std::min(here, count - 1) : std::max<std::int64_t>(0, here); i >= 0 && i < count;
       i += step) {
    if (wanted(slices_[static_cast<std::size_t>(i)])) return (first_ + i) * span_;
  }
  return std::nullopt;
}

bool operator==(const Slices& a, const Slices& b) {
  return a.span_ == b.span_ && a.first_ == b.first_ && a.slices_ == b.slices_ && a.part_span_ == b.part_span_ &&
         a.parts_ == b.parts_ && a.part_slot_ == b.part_slot_ && a.current_part() == b.current_part() &&
         a.begun_ == b.begun_ && a.from_ == b.from_ && a.until_ == b.until_;
}

}  // namespace hopbench
