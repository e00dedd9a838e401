// The times of a soak in real time in which nothing is tested, and what was under way when one of them began.
#pragma once

#include <string_view>

#include "cli/border_watch.h"
#include "seen/forwarding_sink.h"

namespace hopbench {

/// Stands between the chain and all that listens to it. Until somebody asks nothing is tested, nor while there is no
/// port: that is told as a gap, part by part, so that each border and each saved state knows of all that was before it.
class UntestedTime final : public ForwardingSink {
 public:
  /// `to` hears all, `watch` among the rest. Nothing was tested since `from`.
  UntestedTime(Sink& to, BorderWatch& watch, Nanos from, std::string_view why)
      : ForwardingSink({&to}), watch_(&watch), from_(from), why_(why), untested_(true) {}

  /// Nothing is tested from here on, until tested() or, if there was no ask so far, the first one.
  void untested(Nanos from, std::string_view why) {
    if (untested_) return;
    from_ = from;
    why_ = why;
    untested_ = true;
  }
  void tested(Nanos at) {
    if (!asked_) return;
    tell(at);
    untested_ = false;
  }
  /// What began before is not to be judged: it was cut off, or nobody knows when its answer came.
  void distrust_before(Nanos at) { trusted_from_ = at; }
  /// The run is ended: what is still open has come to nothing yet.
  void ending() { ending_ = true; }

  /// All up to there was told. Passes the borders.
  void pass(Nanos until) {
    while (watch_->next_border() <= until) {
      const Nanos border = watch_->next_border();
      tell(border);
      watch_->pass(border);
    }
    tell(until);
  }

  void arrival(const Arrival& arrival) override {
    if (!arrival.bytes.empty() && !asked_) {
      asked_ = true;
      tested(arrival.at);
    }
    ForwardingSink::arrival(arrival);
  }
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
    const bool open = ending_ && obs.outcome != Outcome::answered;
    if (obs.start >= trusted_from_ && !open) ForwardingSink::exchange(obs, truth);
  }
  void end(Nanos until, const Lateness& lateness) override {
    tell(until);
    ForwardingSink::end(until, lateness);
  }

 private:
  void tell(Nanos until) {
    if (!untested_ || until <= from_) return;
    ForwardingSink::gap({from_, until, why_});
    from_ = until;
  }

  BorderWatch* watch_;
  Nanos from_;
  std::string_view why_;
  bool untested_;
  bool asked_ = false;
  Nanos trusted_from_ = 0;
  bool ending_ = false;
};

}  // namespace hopbench
