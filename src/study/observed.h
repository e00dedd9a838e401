// The door through which studies that work from observations get what they work on: what was seen comes in, why it was
// so stays outside. A listener behind it has no parameter of a type that knows a cause.
#pragma once

#include "seen/observation.h"

namespace hopbench {

/// Listens to what was seen only.
class Observer {
 public:
  virtual void begin(const RunInfo&) = 0;
  virtual void exchange(const ExchangeObs&) = 0;
  virtual void stray(const Stray&) {}
  virtual void state(const State&) {}
  virtual void tally(const Tally&) {}
  virtual void gap(const Gap&) {}
  virtual void dropped(const Dropped&) {}
  virtual void end(Nanos until) = 0;

 protected:
  ~Observer() = default;
};

/// Hands on to an Observer, without the truth. Repeats are told as whole exchanges.
class Observed final : public Sink {
 public:
  explicit Observed(Observer& observer) : observer_(&observer) {}

  void begin(const RunInfo& run) override { observer_->begin(run); }
  void exchange(const ExchangeObs& obs, const ExchangeTruth* /*not for studies*/) override { observer_->exchange(obs); }
  void stray(const Stray& stray) override { observer_->stray(stray); }
  void arrival(const Arrival&) override {}
  void state(const State& state) override { observer_->state(state); }
  void tally(const Tally& tally) override { observer_->tally(tally); }
  void gap(const Gap& gap) override { observer_->gap(gap); }
  void dropped(const Dropped& dropped) override { observer_->dropped(dropped); }
  void end(Nanos until, const Lateness&) override { observer_->end(until); }
  [[nodiscard]] std::uint64_t whole_from() const override { return 0; }

 private:
  Observer* observer_;
};

}  // namespace hopbench
