// The door through which studies that work from observations get what they work on: what was seen comes in, why it was
// so stays outside. A listener behind it has no parameter of a type that knows a cause.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "seen/lateness.h"
#include "seen/whole_sink.h"
#include "study/conditions.h"

namespace hopbench {

/// Listens to what was seen only: each kind of record that a Sink is told, and like there none has a default. States
/// come as conditions, of which some may be unknown.
class Observer {
 public:
  virtual void begin(const RunInfo&) = 0;
  virtual void exchange(const ExchangeObs&) = 0;
  virtual void stray(const Stray&) = 0;
  virtual void arrival(const Arrival&) = 0;
  virtual void tally(const Tally&) = 0;
  virtual void conditions(const ConditionValues&) = 0;
  virtual void gap(const Gap&) = 0;
  virtual void dropped(const Dropped&) = 0;
  virtual void command(const Remark&) = 0;
  virtual void note(const Remark&) = 0;
  virtual void end(Nanos until) = 0;

 protected:
  ~Observer() = default;
};

/// Hands on to an Observer, without the truth. Repeats are told as whole exchanges.
class Observed final : public WholeSink {
 public:
  explicit Observed(Observer& observer) : observer_(&observer) {}

  void begin(const RunInfo& run) override {
    time_out_ = run.time_out;
    home_ = static_cast<std::uint16_t>(run.links.empty() ? 0 : run.links.size() - 1);
    observer_->begin(run);
  }
  /// The truth is not for studies, but for one thing: what failed for a reason of the chain's own is not doubtful. Else
  /// failures would be left out more readily than successes.
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
    if (!obs.doubtful || truth == nullptr) return observer_->exchange(obs);
    ExchangeObs seen = obs;
    seen.doubtful = lateness_decided(obs, *truth, time_out_, home_);
    observer_->exchange(seen);
  }
  void stray(const Stray& stray) override { observer_->stray(stray); }
  void arrival(const Arrival& arrival) override { observer_->arrival(arrival); }
  void tally(const Tally& tally) override { observer_->tally(tally); }
  void state(const State& state) override {
    nodes_.clear();
    for (const NodeState& node : state.nodes) {
      nodes_.push_back({node.board_mc, node.supply_mv, (node.flags & 1U) != 0});
    }
    observer_->conditions(in_force(state, nodes_));
  }
  void gap(const Gap& gap) override { observer_->gap(gap); }
  void dropped(const Dropped& dropped) override { observer_->dropped(dropped); }
  void command(const Remark& command) override { observer_->command(command); }
  void note(const Remark& note) override { observer_->note(note); }
  void end(Nanos until, const Lateness&) override { observer_->end(until); }

 private:
  Observer* observer_;
  std::optional<Nanos> time_out_;  // of a real controller
  std::uint16_t home_ = 0;         // link into the controller
  std::vector<NodeConditions> nodes_;
};

}  // namespace hopbench
