// What stands between a run and its listeners.
#pragma once

#include <algorithm>
#include <utility>
#include <vector>

#include "seen/observation.h"

namespace hopbench {

/// Hands every kind of record on, in order, to each of its listeners. A derived class overrides the kinds that it
/// treats; what it does not know of comes through all the same. The listeners must outlive it.
class ForwardingSink : public Sink {
 public:
  void begin(const RunInfo& run) override {
    hand_on([&](Sink& to) { to.begin(run); });
  }
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
    hand_on([&](Sink& to) { to.exchange(obs, truth); });
  }
  void again(std::span<const ExchangeObs> models, std::span<const Repeat> repeats) override {
    hand_on([&](Sink& to) { to.again(models, repeats); });
  }
  void stray(const Stray& stray) override {
    hand_on([&](Sink& to) { to.stray(stray); });
  }
  void arrival(const Arrival& arrival) override {
    hand_on([&](Sink& to) { to.arrival(arrival); });
  }
  void tally(const Tally& tally) override {
    hand_on([&](Sink& to) { to.tally(tally); });
  }
  void state(const State& state) override {
    hand_on([&](Sink& to) { to.state(state); });
  }
  void gap(const Gap& gap) override {
    hand_on([&](Sink& to) { to.gap(gap); });
  }
  void dropped(const Dropped& dropped) override {
    hand_on([&](Sink& to) { to.dropped(dropped); });
  }
  void command(const Remark& command) override {
    hand_on([&](Sink& to) { to.command(command); });
  }
  void note(const Remark& note) override {
    hand_on([&](Sink& to) { to.note(note); });
  }
  void end(Nanos until, const Lateness& lateness) override {
    hand_on([&](Sink& to) { to.end(until, lateness); });
  }
  /// As soon as one of them wants it.
  [[nodiscard]] std::uint64_t whole_from() const override {
    std::uint64_t from = ~std::uint64_t{0};
    for (const Sink* to : listeners_) from = std::min(from, to->whole_from());
    return from;
  }
  /// As many as any of them wants.
  [[nodiscard]] std::uint32_t whole_before() const override {
    std::uint32_t before = 0;
    for (const Sink* to : listeners_) before = std::max(before, to->whole_before());
    return before;
  }

 protected:
  explicit ForwardingSink(std::vector<Sink*> listeners) : listeners_(std::move(listeners)) {}
  ~ForwardingSink() = default;

  /// Called before each record that is handed on here. A class that holds records back lets them go in it, so that the
  /// order is kept whatever comes. False: this record is not for the listeners.
  virtual bool before_handing_on() { return true; }
  /// The only listener, of a class that has one.
  [[nodiscard]] Sink& to() const { return *listeners_.front(); }
  void add_listener(Sink& sink) { listeners_.push_back(&sink); }
  /// From now on it is the only listener.
  void set_listener(Sink& sink) { listeners_.assign(1, &sink); }
  void no_listener() { listeners_.clear(); }

 private:
  template <class Tell>
  void hand_on(Tell tell) {
    if (!before_handing_on()) return;
    for (Sink* to : listeners_) tell(*to);
  }

  std::vector<Sink*> listeners_;
};

}  // namespace hopbench
