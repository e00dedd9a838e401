// The door through which studies that work from observations get what they work on: what was seen comes in, why it was
// so stays outside. A listener behind it has no parameter of a type that knows a cause.
#pragma once

#include "seen/whole_sink.h"

namespace hopbench {

/// Listens to what was seen only: each kind of record that a Sink is told, and like there none has a default.
class Observer {
 public:
  virtual void begin(const RunInfo&) = 0;
  virtual void exchange(const ExchangeObs&) = 0;
  virtual void stray(const Stray&) = 0;
  virtual void arrival(const Arrival&) = 0;
  virtual void tally(const Tally&) = 0;
  virtual void state(const State&) = 0;
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
  void state(const State& state) override { observer_->state(state); }
  void gap(const Gap& gap) override { observer_->gap(gap); }
  void dropped(const Dropped& dropped) override { observer_->dropped(dropped); }
  void command(const Remark& command) override { observer_->command(command); }
  void note(const Remark& note) override { observer_->note(note); }
  void end(Nanos until, const Lateness&) override { observer_->end(until); }

 private:
  Observer* observer_;
};

}  // namespace hopbench
