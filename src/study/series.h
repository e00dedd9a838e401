// A run over time, in rows of a stated length: what was told in the traffic, what was counted, and of a simulated chain
// what was so. Holds one row at a time.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <vector>

#include "bus/protocol.h"
#include "seen/whole_sink.h"
#include "study/pack_track.h"

namespace hopbench {

struct SeriesCell {
  std::optional<std::int64_t> told_uv;  // the last answer that told of it within the row
  std::optional<std::int64_t> was_uv;   // at the row's end, at the terminals, nothing being bled
  std::optional<std::int64_t> was_charge_ppm;
};

struct SeriesNode {
  std::optional<std::int64_t> told_bled;  // cells
  std::optional<std::int64_t> told_board_mc;
  std::optional<std::int64_t> told_supply_mv;
  std::optional<NodeState> was;
};

struct SeriesRow {
  Nanos from = 0;
  Nanos to = 0;                 // not part of it
  std::uint64_t exchanges = 0;  // closed within it; of a thinned capture some may come with a later row
  std::uint64_t not_answered = 0;
  std::optional<std::int64_t> told_ma;  // into the battery; negative: out of it
  std::optional<std::int64_t> was_ma;
  std::vector<SeriesNode> nodes;
  std::vector<SeriesCell> cells;  // of all nodes, one after another
};

class Series final : public WholeSink {
 public:
  static constexpr std::uint32_t most_cells = 64;  // of a node; what is beyond is left out

  /// Rows begin at multiples of `step` (> 0). `protocol` (null: nothing is told), `track` (null: the chain was not
  /// simulated, and nothing else is known) and `write` must outlive it. Once `write` returns false nothing more comes.
  Series(Nanos step, const Protocol* protocol, PackTrack* track, std::function<bool(const SeriesRow&)> write)
      : step_(step), protocol_(protocol), track_(track), write_(std::move(write)) {}

  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override;
  void stray(const Stray& stray) override { reach(stray.at); }
  void arrival(const Arrival& arrival) override { reach(arrival.at); }
  void tally(const Tally& tally) override;
  void state(const State& state) override;
  void gap(const Gap& gap) override { reach(gap.to); }
  void dropped(const Dropped& dropped) override;
  void command(const Remark& command) override { reach(command.at); }
  void note(const Remark& note) override { reach(note.at); }
  void end(Nanos until, const Lateness& lateness) override;

 private:
  class Reader;
  void reach(Nanos at);
  void finish_row(Nanos to);
  void begin_row(Nanos from);

  Nanos step_;
  const Protocol* protocol_;
  PackTrack* track_;
  std::function<bool(const SeriesRow&)> write_;
  bool goes_on_ = true;
  bool begun_ = false;
  std::vector<std::size_t> first_cell_;  // by node, and the end
  std::optional<std::int64_t> was_ma_;
  std::vector<std::optional<NodeState>> was_;
  SeriesRow row_;
  Frame ask_;
  Frame answer_;
};

}  // namespace hopbench
