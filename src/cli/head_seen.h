// What a capture's head says, for commands that read one.
#pragma once

#include "seen/observation.h"

namespace hopbench {

/// Listens for the head only.
class HeadSeen final : public Sink {
 public:
  bool seen = false;
  RunInfo run;

  void begin(const RunInfo& info) override {
    seen = true;
    run = info;
  }
  void exchange(const ExchangeObs&, const ExchangeTruth*) override {}
  void stray(const Stray&) override {}
  void arrival(const Arrival&) override {}
  void end(Nanos, const Lateness&) override {}
  [[nodiscard]] std::uint64_t whole_from() const override { return ~std::uint64_t{0}; }
};

}  // namespace hopbench
