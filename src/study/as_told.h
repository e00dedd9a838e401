// Puts what was told in the traffic in the place of what a simulation states.
#pragma once

#include "study/told_conditions.h"

namespace hopbench {

/// Where conditions are taken from the traffic.
enum class TakeTold : std::uint8_t {
  always,         // whatever else the capture states
  on_real_chain,  // where nothing else can be known
};

/// Hands everything on to an Observer but conditions: those it makes itself, after the exchange, stray, gap or sum that
/// changed what is known. An exchange is handed on before what is told in it.
class AsTold final : public Observer {
 public:
  /// Both must outlive it; `protocol` may be null: nothing is told then.
  AsTold(Observer& observer, const Protocol* protocol, TakeTold take)
      : observer_(&observer), told_(protocol), take_(take) {}

  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs) override {
    observer_->exchange(obs);
    after([&] { told_.exchange(obs); });
  }
  void stray(const Stray& stray) override {
    observer_->stray(stray);
    after([&] { told_.stray(stray); });
  }
  void tally(const Tally& tally) override {
    observer_->tally(tally);
    after([&] { told_.tally(tally); });
  }
  void gap(const Gap& gap) override {
    observer_->gap(gap);
    after([&] { told_.gap(gap); });
  }
  void dropped(const Dropped& dropped) override {
    observer_->dropped(dropped);
    after([&] { told_.dropped(dropped); });
  }
  void conditions(const ConditionValues& conditions) override {
    if (!takes_) observer_->conditions(conditions);
  }
  void arrival(const Arrival& arrival) override { observer_->arrival(arrival); }
  void command(const Remark& command) override { observer_->command(command); }
  void note(const Remark& note) override { observer_->note(note); }
  void end(Nanos until) override { observer_->end(until); }

 private:
  template <class Tell>
  void after(Tell tell) {
    if (!takes_) return;
    tell();
    if (told_.version() == version_) return;
    version_ = told_.version();
    observer_->conditions(told_.now());
  }

  Observer* observer_;
  ToldConditions told_;
  TakeTold take_;
  bool takes_ = true;
  std::uint64_t version_ = 0;
};

}  // namespace hopbench
