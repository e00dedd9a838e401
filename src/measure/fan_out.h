// One run, several listeners.
#pragma once

#include <initializer_list>
#include <vector>

#include "seen/observation.h"

namespace hopbench {

/// Tells each sink everything, in the order given. The sinks must outlive it.
class FanOut final : public Sink {
 public:
  FanOut(std::initializer_list<Sink*> sinks) : sinks_(sinks) {}
  void add(Sink& sink) { sinks_.push_back(&sink); }

  void begin(const RunInfo& run) override {
    for (auto* sink : sinks_) sink->begin(run);
  }
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
    for (auto* sink : sinks_) sink->exchange(obs, truth);
  }
  void stray(const Stray& stray) override {
    for (auto* sink : sinks_) sink->stray(stray);
  }
  void arrival(const Arrival& arrival) override {
    for (auto* sink : sinks_) sink->arrival(arrival);
  }
  void end(Nanos until, const Lateness& lateness) override {
    for (auto* sink : sinks_) sink->end(until, lateness);
  }

 private:
  std::vector<Sink*> sinks_;
};

}  // namespace hopbench
