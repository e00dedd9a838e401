// The door through which studies that work from observations get what they work on: what was seen comes in, why it was
// so stays outside. A listener behind it has no parameter of a type that knows a cause.
#pragma once

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

  void begin(const RunInfo& run) override { observer_->begin(run); }
  void exchange(const ExchangeObs& obs, const ExchangeTruth* /*not for studies*/) override { observer_->exchange(obs); }
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
  std::vector<NodeConditions> nodes_;
};

}  // namespace hopbench
