// A run cut into slices of time: what happened on each link in each of them, and what held. The inspector draws from
// this; it is kept beside a capture so that the next look need not read all of it.
#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <vector>

#include "measure/measures.h"
#include "picture/filter.h"
#include "seen/whole_sink.h"
#include "study/condition.h"

namespace hopbench {

/// Bits of LinkCell.marks: one for each Symptom, and those below.
inline constexpr std::uint16_t mark_unknown = 1U << 10U;  // a symptom of a later version
inline constexpr std::uint16_t mark_of(Symptom symptom) {
  const std::size_t place = place_of(symptom);
  return place == symptom_count ? mark_unknown : static_cast<std::uint16_t>(1U << place);
}
/// A station heard the frame before it well and put nothing on this link.
inline constexpr std::uint16_t mark_not_passed_on = 1U << 9U;
inline constexpr std::uint16_t every_mark = 0x7ff;

/// Frames that began on one link in one slice.
struct LinkCell {
  std::uint32_t frames = 0;      // that were good when they were put on it
  std::uint32_t bad = 0;         // of those: not heard well
  std::uint32_t checks = 0;      // of those: a check value did not agree
  std::uint16_t marks = 0;       // what was seen at least once
  std::uint32_t never_came = 0;  // frames that the station before it heard well and did not pass on

  /// Counts stop at their largest value.
  void add(const LinkCell& other);
  friend bool operator==(const LinkCell&, const LinkCell&) = default;
};

/// Bits of Slice.missing.
inline constexpr std::uint8_t missing_gap = 1;      // a part in which nothing was seen
inline constexpr std::uint8_t missing_dropped = 2;  // records: left out by the writer or a cut, or damaged
inline constexpr std::uint8_t missing_tallied = 4;  // exchanges that came in sums only
inline constexpr std::uint8_t missing_thinned = 8;  // one in n stands for all
/// What happened then is not known: not the same as nothing.
inline constexpr std::uint8_t missing_hole = missing_gap | missing_dropped;

struct Slice {
  std::vector<LinkCell> links;
  std::uint32_t exchanges = 0;
  std::uint32_t tries = 0;
  std::uint32_t failed_tries = 0;
  std::uint16_t outcomes = 0;  // a bit for each place_of() the outcome of an exchange
  std::uint8_t missing = 0;
  bool known = false;  // conditions, as follow: the highest in the slice
  std::uint32_t cells_balancing = 0;
  std::int32_t charge_ma = 0;
  std::int32_t board_mc = 0;  // of the warmest board

  void add(const Slice& other);
  friend bool operator==(const Slice&, const Slice&) = default;
};

/// A failure rate.
struct TryCounts {
  std::uint64_t tries = 0;
  std::uint64_t failed = 0;
  friend bool operator==(const TryCounts&, const TryCounts&) = default;
};

/// Measures of a longer part of a run, and what held at its end.
struct RunPart {
  RunPart() : by_balancing(bin_count) {}
  Measures measures;
  std::vector<TryCounts> by_balancing;  // by balancing_bin()
  std::vector<NodeState> nodes;         // at its end; empty: not known then

  void add(const RunPart& later);
  friend bool operator==(const RunPart&, const RunPart&) = default;
};

/// How much is kept of a chain. A slice is a power of two times 1 ms long and begins at a multiple of its length; when
/// there are too many, neighbours become one. So is a part, of slices.
struct SliceBounds {
  std::size_t slices = 0;
  std::size_t parts = 0;
};
SliceBounds bounds_for(const RunInfo& run);

/// The fold. Memory depends on the chain only.
class Slices final : public WholeSink {
 public:
  /// Of a whole run.
  explicit Slices(Filter filter) : filter_(std::move(filter)) {}
  /// Of [from, from + span * count) only, in slices of this length, without parts. `from`: a multiple of `span`.
  Slices(Filter filter, Nanos from, Nanos span, std::size_t count);

  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs, const ExchangeTruth* /*not looked at*/) override;
  // What belongs to no frame of the chain is not drawn.
  void stray(const Stray&) override {}
  void arrival(const Arrival&) override {}
  void command(const Remark&) override {}
  void note(const Remark&) override {}
  void tally(const Tally& tally) override;
  void state(const State& state) override;
  /// After a gap, or where records are missing, no conditions are known until the next state.
  void gap(const Gap& gap) override { hole(gap.from, gap.to, missing_gap); }
  void dropped(const Dropped& dropped) override;
  void end(Nanos until, const Lateness&) override;
  /// What held before the first state that it is told of; nothing where that is in doubt.
  void assume(const Slice& before);
  /// What holds is known to have held until then.
  void hold_until(Nanos when);

  [[nodiscard]] const RunInfo& run() const { return run_; }
  [[nodiscard]] const Filter& filter() const { return filter_; }
  [[nodiscard]] const std::vector<std::string>& topics() const { return topics_; }
  [[nodiscard]] Nanos slice_span() const { return span_; }
  [[nodiscard]] Nanos part_span() const { return part_span_; }
  [[nodiscard]] bool empty() const { return !begun_; }
  [[nodiscard]] Nanos from() const { return from_; }
  [[nodiscard]] Nanos until() const { return until_; }

  /// Everything that began in [from, to), snapped outwards to slices.
  [[nodiscard]] Slice sum(Nanos from, Nanos to) const;
  /// Everything that was closed in [from, to), snapped outwards to parts.
  [[nodiscard]] RunPart part(Nanos from, Nanos to) const;
  /// Nodes as the last state before `at` tells them, to within a part.
  [[nodiscard]] const std::vector<NodeState>& nodes_at(Nanos at) const;
  /// Start of the slice of `from`, or of the first one after it (before it, backwards), in which a try failed.
  [[nodiscard]] std::optional<Nanos> next_failure(Nanos from, bool backwards) const;

  friend bool operator==(const Slices& a, const Slices& b);

 private:
  friend class IndexCodec;
  struct Held {
    std::int64_t slot = 0;
    RunPart part;
    friend bool operator==(const Held&, const Held&) = default;
  };

  void hole(Nanos from, Nanos to, std::uint8_t missing);
  Slice* at(Nanos when);  // null: outside
  void roll_to(Nanos when);
  void join_slices();
  void join_parts();
  [[nodiscard]] RunPart current_part() const;
  void touch(Nanos when);
  void hold(Slice& slice) const;
  void mark_not_passed(const ExchangeObs& obs, std::size_t attempt, std::uint32_t weight);

  Filter filter_;
  RunInfo run_;
  std::vector<std::string> topics_;
  SliceBounds bounds_;
  bool fixed_ = false;
  Nanos span_ = millisecond;
  std::int64_t first_ = 0;  // number of the first slice, counted from instant 0
  std::deque<Slice> slices_;
  Nanos part_span_ = millisecond;
  std::vector<Held> parts_;  // those before the current one, rising
  std::int64_t part_slot_ = 0;
  MeasureFold measures_;  // of the current one
  std::vector<TryCounts> by_balancing_;
  bool begun_ = false;
  Nanos from_ = 0;
  Nanos until_ = 0;
  // What holds now, and since when.
  bool known_ = false;
  Nanos since_ = 0;
  std::uint32_t cells_balancing_ = 0;
  std::int32_t charge_ma_ = 0;
  std::int32_t board_mc_ = 0;
  std::vector<NodeState> nodes_;
};

/// The slot where an instant falls among spans of this length; below zero as well.
inline std::int64_t slot_of(Nanos at, Nanos span) { return at >= 0 ? at / span : -((-at + span - 1) / span); }

}  // namespace hopbench
