// A listener that is after one or two kinds of record and says so by its base.
#pragma once

#include "seen/whole_sink.h"

namespace hopbench {

/// Ignores every kind that a derived class does not override, also kinds that are added later. Not for what keeps or
/// counts a run: that derives from Sink or WholeSink and says of each kind what becomes of it.
class IgnoringSink : public WholeSink {
 public:
  void begin(const RunInfo&) override {}
  void exchange(const ExchangeObs&, const ExchangeTruth*) override {}
  void stray(const Stray&) override {}
  void arrival(const Arrival&) override {}
  void tally(const Tally&) override {}
  void state(const State&) override {}
  void gap(const Gap&) override {}
  void dropped(const Dropped&) override {}
  void command(const Remark&) override {}
  void note(const Remark&) override {}
  void end(Nanos, const Lateness&) override {}

 protected:
  ~IgnoringSink() = default;
};

}  // namespace hopbench
