// What a soak test in real time had recorded, but not yet counted in its state, when it was killed.
#pragma once

#include "seen/forwarding_sink.h"

namespace hopbench {

/// Hands on the records of detail captures, one after the other, from where the state had got to.
class SoakReplay final : public ForwardingSink {
 public:
  /// `at`: the instant of the state. All that was told up to then is in it, and no tally reaches across.
  SoakReplay(Sink& to, Nanos at) : ForwardingSink({&to}), at_(at), latest_(at) {}

  void begin(const RunInfo& run) override {
    if (!began_) ForwardingSink::begin(run);
    began_ = true;
  }
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
    if (!comes_after(obs.closed)) return;
    ++exchanges_;
    ForwardingSink::exchange(obs, truth);
  }
  void tally(const Tally& tally) override {
    if (!comes_after(tally.to)) return;
    exchanges_ += tally.exchanges;
    ForwardingSink::tally(tally);
  }
  void stray(const Stray& stray) override {
    if (comes_after(stray.at)) ForwardingSink::stray(stray);
  }
  void arrival(const Arrival& arrival) override {
    if (comes_after(arrival.at)) ForwardingSink::arrival(arrival);
  }
  void state(const State& state) override {
    if (comes_after(state.at)) ForwardingSink::state(state);
  }
  void gap(const Gap& gap) override {
    if (comes_after(gap.to)) ForwardingSink::gap(gap);
  }
  void dropped(const Dropped& dropped) override {
    if (comes_after(dropped.to)) ForwardingSink::dropped(dropped);
  }
  void command(const Remark& command) override {
    if (comes_after(command.at)) ForwardingSink::command(command);
  }
  void note(const Remark& note) override {
    if (comes_after(note.at)) ForwardingSink::note(note);
  }
  /// The run goes on after it.
  void end(Nanos until, const Lateness&) override { reached(until); }

  /// Exchanges handed on.
  [[nodiscard]] std::uint64_t exchanges() const { return exchanges_; }
  /// The last instant told of.
  [[nodiscard]] Nanos latest() const { return latest_; }
  [[nodiscard]] bool began() const { return began_; }

 private:
  bool comes_after(Nanos at) {
    if (at <= at_) return false;
    reached(at);
    return true;
  }
  void reached(Nanos at) { latest_ = at > latest_ ? at : latest_; }

  Nanos at_;
  Nanos latest_;
  std::uint64_t exchanges_ = 0;
  bool began_ = false;
};

}  // namespace hopbench
