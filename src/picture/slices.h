// A run cut into slices of time: what happened on each link and in each station in each of them, and what held. The
// inspector draws from this; it is kept beside a capture so that the next look need not read all of it.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <functional>
#include <optional>
#include <vector>

#include "measure/measures.h"
#include "picture/calm_cells.h"
#include "picture/filter.h"
#include "picture/round_spans.h"
#include "picture/troubles.h"
#include "seen/whole_sink.h"

namespace hopbench {

/// Frames that began on one link in one slice and were good when they were put on it, by what was heard of them. Counts
/// stop at their largest value, here and below.
struct LinkCell {
  std::array<std::uint32_t, symptom_count + 1> seen{};  // by place_of() the symptom

  [[nodiscard]] std::uint64_t frames() const;
  [[nodiscard]] std::uint64_t bad() const { return frames() - seen[0]; }
  [[nodiscard]] std::uint32_t of(Symptom symptom) const { return seen[place_of(symptom)]; }
  std::uint32_t& usual() { return seen[0]; }
  [[nodiscard]] bool is_usual() const { return bad() == 0; }
  void add(const LinkCell& other);
  friend bool operator==(const LinkCell&, const LinkCell&) = default;
};

/// One station in one slice.
struct StationCell {
  std::uint32_t tries = 0;                                      // to it
  std::uint32_t failed = 0;                                     // of those, wherever
  std::array<std::uint32_t, station_trouble_count> troubles{};  // tries that failed in it or with it

  [[nodiscard]] std::uint32_t of(StationTrouble trouble) const { return troubles[static_cast<std::size_t>(trouble)]; }
  std::uint32_t& usual() { return tries; }
  [[nodiscard]] bool is_usual() const { return failed == 0 && troubles == decltype(troubles){}; }
  void add(const StationCell& other);
  friend bool operator==(const StationCell&, const StationCell&) = default;
};

/// Tries, by what became of them and by station.
struct TriesMade {
  std::array<std::uint32_t, outcome_count + 1> by_outcome{};  // by place_of() the outcome; the last: or not known
  CalmCells<StationCell> stations;                            // as RunInfo.nodes, and one more: the controller

  [[nodiscard]] std::uint64_t all() const;
  [[nodiscard]] std::uint64_t failed() const { return all() - by_outcome[place_of(Outcome::answered)]; }
  void add(const TriesMade& other);
  /// The tries of an exchange, without where they failed.
  void count(const ExchangeObs& obs, std::uint32_t weight);
  void count(StationTrouble trouble, std::uint16_t station, std::uint32_t weight);
  /// Exchanges of which there are only counts: nothing tells what became of tries that were tried again.
  void count(const Measures& counts);
  friend bool operator==(const TriesMade&, const TriesMade&) = default;
};

/// Bits of Slice.missing.
inline constexpr std::uint8_t missing_gap = 1;      // a part in which nothing was seen
inline constexpr std::uint8_t missing_dropped = 2;  // records: left out by the writer or a cut, or damaged
inline constexpr std::uint8_t missing_tallied = 4;  // exchanges of which there are only counts
inline constexpr std::uint8_t missing_thinned = 8;  // one in n stands for all
/// What happened then is not known: not the same as nothing.
inline constexpr std::uint8_t missing_hole = missing_gap | missing_dropped;

struct Slice {
  CalmCells<LinkCell> links;  // as RunInfo.links
  TriesMade tried;
  std::uint32_t exchanges = 0;
  Histogram trips{5, 41};  // round trips, ns
  std::uint8_t missing = 0;
  bool known = false;  // conditions, as follow: the highest in the slice
  std::uint32_t cells_balancing = 0;
  std::int32_t charge_ma = 0;
  std::int32_t board_mc = 0;  // of the warmest board

  void size_for(const RunInfo& run);
  void add(const Slice& other);
  friend bool operator==(const Slice&, const Slice&) = default;
};

/// Frames lost on a hop; tries that failed in a station, in one of its two ways.
std::uint64_t troubles_at(const Slice& slice, MapPlace place);
std::uint64_t troubles_at(const TriesMade& tried, MapPlace station);
/// What these are a share of: frames put on the hop, frames that reached the station, tries to it.
std::uint64_t chances_at(const Slice& slice, const Stations& stations, MapPlace place);

/// How long frames were inside one station, ns.
struct StationTimes {
  Histogram passing;
  Histogram answering;  // from an ask to its answer

  void merge(const StationTimes& other) {
    passing.merge(other.passing);
    answering.merge(other.answering);
  }
  friend bool operator==(const StationTimes&, const StationTimes&) = default;
};

/// Measures of a longer part of a run, and what held at its end.
struct RunPart {
  Measures measures;
  std::vector<StationTimes> stays;  // as RunInfo.nodes
  TriesMade tried;
  std::vector<NodeState> nodes;  // at its end; empty: not known then

  void size_for(const RunInfo& run);
  void add(const RunPart& later);
  /// All but its measures.
  void count(const Stations& stations, const ExchangeObs& obs, std::uint32_t weight);
  friend bool operator==(const RunPart&, const RunPart&) = default;
};

/// How much is kept of a chain. A slice is as long as one of `slice_spans` and begins at a multiple of its length; when
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
  [[nodiscard]] const Stations& stations() const { return stations_; }
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
  /// Calls f(slice) for each slice that begins in [from, to).
  template <class F>
  void each(Nanos from, Nanos to, F f) const {
    for (std::size_t i = 0; i < slices_.size(); ++i) {
      const Nanos start = (first_ + static_cast<std::int64_t>(i)) * span_;
      if (start >= from && start < to) f(slices_[i]);
    }
  }
  /// Start of the slice of `from`, or of the first one after it (before it, backwards), of which this is true.
  [[nodiscard]] std::optional<Nanos> next(Nanos from, bool backwards,
                                          const std::function<bool(const Slice&)>& wanted) const;

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
  void count_frames(const ExchangeObs& obs, std::uint32_t weight);

  Filter filter_;
  RunInfo run_;
  Stations stations_;
  std::vector<std::string> topics_;
  SliceBounds bounds_;
  bool fixed_ = false;
  Nanos span_ = slice_spans.front();
  std::int64_t first_ = 0;  // number of the first slice, counted from instant 0
  std::deque<Slice> slices_;
  Nanos part_span_ = slice_spans.front();
  std::vector<Held> parts_;  // those before the current one, rising
  std::int64_t part_slot_ = 0;
  MeasureFold measures_;  // of the current one
  RunPart current_;       // all but its measures
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

}  // namespace hopbench
