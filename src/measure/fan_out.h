// One run, several listeners.
#pragma once

#include <algorithm>
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
  /// As soon as one of them wants it.
  [[nodiscard]] std::uint64_t whole_from() const override {
    std::uint64_t from = ~std::uint64_t{0};
    for (const auto* sink : sinks_) from = std::min(from, sink->whole_from());
    return from;
  }
  void again(std::span<const ExchangeObs> models, std::span<const Repeat> repeats) override {
    for (auto* sink : sinks_) sink->again(models, repeats);
  }
  void tally(const Tally& tally) override {
    for (auto* sink : sinks_) sink->tally(tally);
  }
  void state(const State& state) override {
    for (auto* sink : sinks_) sink->state(state);
  }
  void gap(const Gap& gap) override {
    for (auto* sink : sinks_) sink->gap(gap);
  }
  void dropped(const Dropped& dropped) override {
    for (auto* sink : sinks_) sink->dropped(dropped);
  }
  void command(const Remark& command) override {
    for (auto* sink : sinks_) sink->command(command);
  }
  void note(const Remark& note) override {
    for (auto* sink : sinks_) sink->note(note);
  }

 private:
  std::vector<Sink*> sinks_;
};

}  // namespace hopbench
