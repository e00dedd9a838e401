// Borders of a soak test in a run that nobody can stop at them.
#pragma once

#include "seen/forwarding_sink.h"
#include "soak/soak.h"

namespace hopbench {

/// Thrown out of a run that has nothing more to decide.
struct EndOfSoak {};

/// Lets a soak pass its borders as the run's time goes by what it is told, where nobody can stop the run at them.
class BorderWatch final : public ForwardingSink {
 public:
  explicit BorderWatch(Soak& soak) : ForwardingSink({&soak.sink()}), soak_(&soak) {}

  /// EndOfSoak, at a border.
  void throw_when_decided() { throws_ = true; }

  void gap(const Gap& gap) override {
    pass(gap.from);
    ForwardingSink::gap(gap);
  }
  void tally(const Tally& tally) override {
    pass(tally.from);
    ForwardingSink::tally(tally);
  }
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
    // What closes at a border belongs to what came before it.
    pass(obs.closed - 1);
    ForwardingSink::exchange(obs, truth);
  }
  /// All that closed up to `until` was told.
  void pass(Nanos until) {
    while (soak_->next_border() <= until) {
      passed_ = soak_->next_border();
      // Of a controller that asks nothing no record tells that time goes on.
      soak_->sink().note({passed_, {}});
      soak_->pass_border();
      if (throws_ && soak_->decided()) throw EndOfSoak{};
    }
  }
  [[nodiscard]] Nanos next_border() const { return soak_->next_border(); }
  /// The last border.
  [[nodiscard]] Nanos passed() const { return passed_; }

 private:
  Soak* soak_;
  bool throws_ = false;
  Nanos passed_ = 0;
};

}  // namespace hopbench
