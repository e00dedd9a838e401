#include "picture/slices.h"

#include <algorithm>
#include <utility>

namespace hopbench {
namespace {

constexpr std::size_t most_cells = 1'000'000;
constexpr std::size_t most_part_rows = 4096;

/// Of a window, which may reach beyond any run.
Nanos believed(Nanos at) { return std::clamp<Nanos>(at, -farthest_instant, farthest_instant); }

std::int64_t half(std::int64_t slot) { return slot >= 0 ? slot / 2 : -((-slot + 1) / 2); }

void raise(std::uint32_t& count, std::uint64_t by) {
  count = static_cast<std::uint32_t>(std::min<std::uint64_t>(count + std::min<std::uint64_t>(by, ~0U), ~0U));
}

}  // namespace

void LinkCell::add(const LinkCell& other) {
  raise(frames, other.frames);
  raise(bad, other.bad);
  raise(checks, other.checks);
  raise(never_came, other.never_came);
  marks |= other.marks;
}

void Slice::add(const Slice& other) {
  if (links.size() < other.links.size()) links.resize(other.links.size());
  for (std::size_t i = 0; i < other.links.size(); ++i) links[i].add(other.links[i]);
  raise(exchanges, other.exchanges);
  raise(tries, other.tries);
  raise(failed_tries, other.failed_tries);
  outcomes |= other.outcomes;
  missing |= other.missing;
  if (!other.known) return;
  cells_balancing = known ? std::max(cells_balancing, other.cells_balancing) : other.cells_balancing;
  charge_ma = known ? std::max(charge_ma, other.charge_ma) : other.charge_ma;
  board_mc = known ? std::max(board_mc, other.board_mc) : other.board_mc;
  known = true;
}

void RunPart::add(const RunPart& later) {
  measures.append(later.measures);
  for (std::size_t i = 0; i < by_balancing.size(); ++i) {
    by_balancing[i].tries += later.by_balancing[i].tries;
    by_balancing[i].failed += later.by_balancing[i].failed;
  }
  nodes = later.nodes;
}

SliceBounds bounds_for(const RunInfo& run) {
  const auto links = std::max<std::size_t>(1, run.links.size());
  const auto rows = std::max<std::size_t>(1, run.links.size() + run.nodes.size());
  return {std::clamp<std::size_t>(most_cells / links, 256, 8192),
          std::clamp<std::size_t>(most_part_rows / rows, 8, 128)};
}

Slices::Slices(Filter filter, Nanos from, Nanos span, std::size_t count)
    : filter_(std::move(filter)), bounds_{count, 0}, fixed_(true), span_(span), first_(slot_of(from, span)) {}

void Slices::begin(const RunInfo& run) {
  run_ = run;
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
  by_balancing_.assign(bin_count, {});
  measures_.begin(run);
  if (!fixed_) {
    bounds_ = bounds_for(run);
    span_ = part_span_ = millisecond;
    first_ = part_slot_ = 0;
    return;
  }
  slices_.resize(bounds_.slices);
  for (auto& slice : slices_) slice.links.resize(run.links.size());
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
  const std::int64_t new_first = half(first_);
  for (std::size_t i = 0; i < slices_.size(); ++i) {
    const auto place = static_cast<std::size_t>(half(first_ + static_cast<std::int64_t>(i)) - new_first);
    if (place < joined.size()) {
      joined[place].add(slices_[i]);
    } else {
      joined.push_back(std::move(slices_[i]));
    }
  }
  slices_ = std::move(joined);
  first_ = new_first;
  span_ *= 2;
}

void Slices::join_parts() {
  std::vector<Held> joined;
  for (auto& held : parts_) {
    held.slot = half(held.slot);
    if (!joined.empty() && joined.back().slot == held.slot) {
      joined.back().part.add(held.part);
    } else {
      joined.push_back(std::move(held));
    }
  }
  part_slot_ = half(part_slot_);
  part_span_ *= 2;
  // The current one goes on where its earlier half is held already: part() puts them together.
  parts_ = std::move(joined);
}

RunPart Slices::current_part() const {
  RunPart part;
  part.measures = measures_.measures();
  part.by_balancing = by_balancing_;
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
  by_balancing_.assign(bin_count, {});
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
      slices_.emplace_front().links.resize(run_.links.size());
      --first_;
    }
    const auto place = static_cast<std::size_t>(slot - first_);
    // Conditions go on through slices in which nothing else happened.
    while (slices_.size() <= place) {
      auto& fresh = slices_.emplace_back();
      fresh.links.resize(run_.links.size());
      hold(fresh);
    }
    return &slices_[place];
  }
}

void Slices::mark_not_passed(const ExchangeObs& obs, std::size_t attempt, std::uint32_t weight) {
  const HopRow* last = nullptr;
  for (const auto& row : obs.rows) {
    if (row.attempt != attempt) continue;
    if (!row.heard_well()) return;
    if (last == nullptr || row.start >= last->start) last = &row;
  }
  if (last == nullptr || last->link + 1U >= run_.links.size()) return;
  const auto& link = run_.links[last->link];
  const auto& next = run_.links[last->link + 1U];
  if (link.vantage == Vantage::unseen || next.vantage == Vantage::unseen || link.to != next.from) return;
  if (auto* slice = at(last->end)) {
    raise(slice->links[last->link + 1U].never_came, weight);
    slice->links[last->link + 1U].marks |= mark_not_passed_on;
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
  std::uint64_t failed = 0;
  for (const auto& each : obs.attempts) failed += each.outcome == Outcome::answered ? 0 : weight;
  if (auto* slice = at(obs.start)) {
    if (obs.start >= since_) hold(*slice);
    raise(slice->exchanges, weight);
    raise(slice->tries, std::uint64_t{obs.attempts.size()} * weight);
    raise(slice->failed_tries, failed);
    slice->outcomes |= static_cast<std::uint16_t>(1U << place_of(obs.outcome));
    if (sample > 1) slice->missing |= missing_thinned;
  }
  if (!fixed_) {
    measures_.exchange(obs, nullptr);
    if (known_) {
      auto& rate = by_balancing_[balancing_bin(cells_balancing_)];
      rate.tries += obs.attempts.size() * sample;
      for (const auto& each : obs.attempts) rate.failed += each.outcome == Outcome::answered ? 0 : sample;
    }
  }
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
    auto& cell = slice->links[row.link];
    raise(cell.frames, weight);
    cell.marks |= mark_of(row.symptom);
    if (row.symptom == Symptom::none) continue;
    raise(cell.bad, weight);
    if (row.symptom == Symptom::check) raise(cell.checks, weight);
  }
  if (failed == 0) return;
  for (std::size_t i = 0; i < obs.attempts.size(); ++i) {
    const auto outcome = obs.attempts[i].outcome;
    if (outcome == Outcome::lost) mark_not_passed(obs, i, weight);
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
  if (!fixed_) measures_.tally(tally);
  if (slice == nullptr) return;
  raise(slice->exchanges, measures.all.asked);
  raise(slice->tries, measures.all.tries);
  raise(slice->failed_tries, measures.all.tries - std::min(measures.all.tries, measures.all[Outcome::answered]));
  for (std::size_t i = 0; i < outcome_count; ++i) {
    if (measures.all.outcomes[i] > 0) slice->outcomes |= static_cast<std::uint16_t>(1U << i);
  }
  if (measures.all.unknown_outcomes() > 0) slice->outcomes |= static_cast<std::uint16_t>(1U << outcome_count);
  for (std::size_t i = 0; i < measures.links.size(); ++i) {
    const auto& link = measures.links[i];
    auto& cell = slice->links[i];
    raise(cell.frames, link.frames_in);
    raise(cell.bad, link.frames_in - std::min(link.frames_in, link.frames_out));
    raise(cell.checks, link.symptoms[static_cast<std::size_t>(Symptom::check)]);
    for (std::size_t s = 0; s < symptom_count; ++s) {
      if (link.symptoms[s] > 0) cell.marks |= static_cast<std::uint16_t>(1U << s);
    }
    if (link.unknown_symptoms() > 0) cell.marks |= mark_unknown;
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
  sum.links.resize(run_.links.size());
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

std::optional<Nanos> Slices::next_failure(Nanos from, bool backwards) const {
  const auto count = static_cast<std::int64_t>(slices_.size());
  // What lies beyond the range lies beyond its last slice: else a search that goes on from that one's end finds it
  // anew.
  const std::int64_t beyond = from > farthest_instant ? 1 : from < -farthest_instant ? -1 : 0;
  const std::int64_t here = slot_of(believed(from), span_) - first_ + beyond;
  if (backwards) {
    for (std::int64_t i = std::min(here, count - 1); i >= 0; --i) {
      if (slices_[static_cast<std::size_t>(i)].failed_tries > 0) return (first_ + i) * span_;
    }
    return std::nullopt;
  }
  for (std::int64_t i = std::max<std::int64_t>(0, here); i < count; ++i) {
    if (slices_[static_cast<std::size_t>(i)].failed_tries > 0) return (first_ + i) * span_;
  }
  return std::nullopt;
}

bool operator==(const Slices& a, const Slices& b) {
  return a.span_ == b.span_ && a.first_ == b.first_ && a.slices_ == b.slices_ && a.part_span_ == b.part_span_ &&
         a.parts_ == b.parts_ && a.part_slot_ == b.part_slot_ && a.current_part() == b.current_part() &&
         a.begun_ == b.begun_ && a.from_ == b.from_ && a.until_ == b.until_;
}

}  // namespace hopbench
