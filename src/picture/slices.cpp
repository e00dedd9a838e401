#include "picture/slices.h"

#include <algorithm>
#include <utility>

namespace hopbench {
namespace {

constexpr std::size_t most_cells = 1'000'000;
constexpr std::size_t most_part_rows = 4096;

Nanos believed(Nanos at) { return std::clamp<Nanos>(at, -farthest_instant, farthest_instant); }

std::int64_t half(std::int64_t slot) { return slot >= 0 ? slot / 2 : -((-slot + 1) / 2); }

std::uint32_t whole(std::uint64_t value) { return static_cast<std::uint32_t>(std::min<std::uint64_t>(value, ~0U)); }

}  // namespace

void LinkCell::add(const LinkCell& other) {
  frames += other.frames;
  bad += other.bad;
  checks += other.checks;
  marks |= other.marks;
}

void Slice::add(const Slice& other) {
  if (links.size() < other.links.size()) links.resize(other.links.size());
  for (std::size_t i = 0; i < other.links.size(); ++i) links[i].add(other.links[i]);
  exchanges += other.exchanges;
  tries += other.tries;
  failed_tries += other.failed_tries;
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
  if (!later.nodes.empty()) nodes = later.nodes;
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
  when = believed(when);
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
    slice->links[last->link + 1U].bad += weight;
    slice->links[last->link + 1U].marks |= mark_not_passed_on;
  }
}

void Slices::exchange(const ExchangeObs& obs, const ExchangeTruth*) {
  roll_to(believed(obs.closed));
  touch(believed(obs.start));
  touch(believed(obs.decided));
  if (filter_.any() && !filter_.shows(obs, run_)) return;
  // What an exchange of a thinned capture stands for is in the tallies, into which a filter cannot look.
  const std::uint32_t sample = std::max(1U, obs.kept_one_in);
  const std::uint32_t weight = filter_.any() ? sample : 1;
  std::uint32_t failed = 0;
  for (const auto& each : obs.attempts) failed += each.outcome == Outcome::answered ? 0 : weight;
  const auto tries = static_cast<std::uint32_t>(obs.attempts.size()) * weight;
  if (auto* slice = at(obs.start)) {
    hold(*slice);
    slice->exchanges += weight;
    slice->tries += tries;
    slice->failed_tries += failed;
    slice->outcomes |= static_cast<std::uint16_t>(1U << static_cast<unsigned>(obs.outcome));
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
    const Nanos when = believed(row.start);
    if (when < low || when >= high) {
      slice = at(when);
      low = slot_of(when, span_) * span_;
      high = low + span_;
    }
    if (slice == nullptr) continue;
    auto& cell = slice->links[row.link];
    cell.frames += weight;
    cell.marks |= mark_of(row.symptom);
    if (row.symptom == Symptom::none) continue;
    cell.bad += weight;
    if (row.symptom == Symptom::check) cell.checks += weight;
  }
  if (failed == 0) return;
  for (std::size_t i = 0; i < obs.attempts.size(); ++i) {
    const auto outcome = obs.attempts[i].outcome;
    if (outcome == Outcome::lost) mark_not_passed(obs, i, weight);
  }
}

void Slices::tally(const Tally& tally) {
  roll_to(believed(tally.to));
  touch(believed(tally.from));
  touch(believed(tally.to));
  auto* slice = at(tally.from);
  if (slice != nullptr) slice->missing |= missing_tallied;
  Measures measures;
  // A filter cannot look into sums.
  if (filter_.any() || !Measures::parse(tally.measures, measures) || measures.links.size() != run_.links.size()) return;
  if (!fixed_) measures_.tally(tally);
  if (slice == nullptr) return;
  slice->exchanges += whole(measures.all.asked);
  slice->tries += whole(measures.all.tries);
  slice->failed_tries += whole(measures.all.tries - std::min(measures.all.tries, measures.all[Outcome::answered]));
  for (std::size_t i = 0; i < outcome_count; ++i) {
    if (measures.all.outcomes[i] > 0) slice->outcomes |= static_cast<std::uint16_t>(1U << i);
  }
  for (std::size_t i = 0; i < measures.links.size(); ++i) {
    const auto& link = measures.links[i];
    auto& cell = slice->links[i];
    cell.frames += whole(link.frames_in);
    cell.bad += whole(link.frames_in - std::min(link.frames_in, link.frames_out));
    cell.checks += whole(link.symptoms[static_cast<std::size_t>(Symptom::check)]);
    for (std::size_t s = 0; s < symptom_count; ++s) {
      if (link.symptoms[s] > 0) cell.marks |= static_cast<std::uint16_t>(1U << s);
    }
  }
}

void Slices::state(const State& state) {
  const Nanos when = believed(state.at);
  roll_to(when);
  // What held until now goes on until now.
  if (known_ && begun_ && !fixed_) at(std::max(when - 1, from_));
  touch(when);
  if (!fixed_) measures_.state(state);
  if (fixed_) {
    // Slices that are over before it, and in which nothing was asked.
    const std::int64_t over = std::clamp<std::int64_t>(slot_of(when, span_) - first_, 0, std::ssize(slices_));
    for (std::int64_t i = 0; i < over; ++i) {
      auto& slice = slices_[static_cast<std::size_t>(i)];
      if (!slice.known) hold(slice);
    }
  }
  known_ = true;
  cells_balancing_ = state.cells_balancing;
  charge_ma_ = state.charge_ma;
  nodes_.assign(state.nodes.begin(), state.nodes.end());
  board_mc_ = nodes_.empty() ? 0 : nodes_.front().board_mc;
  for (const auto& node : nodes_) board_mc_ = std::max(board_mc_, node.board_mc);
  if (auto* slice = at(when)) hold(*slice);
}

void Slices::assume(const Slice& before) {
  if (!before.known) return;
  known_ = true;
  cells_balancing_ = before.cells_balancing;
  charge_ma_ = before.charge_ma;
  board_mc_ = before.board_mc;
}

void Slices::mark(Nanos from, Nanos to, std::uint8_t missing) {
  from = believed(from);
  to = believed(to);
  touch(from);
  touch(to);
  at(to);
  for (std::int64_t slot = std::max(slot_of(from, span_), first_); slot <= slot_of(to, span_); ++slot) {
    const auto place = static_cast<std::size_t>(slot - first_);
    if (place >= slices_.size()) break;
    slices_[place].missing |= missing;
  }
}

void Slices::end(Nanos until, const Lateness&) {
  until = believed(until);
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
  const std::int64_t here = slot_of(believed(from), span_) - first_;
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
