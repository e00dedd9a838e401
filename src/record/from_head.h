// A capture whose head cannot be read tells of exchanges of which nobody knows whose they are.
#pragma once

#include "seen/forwarding_sink.h"

namespace hopbench {

/// Hands everything on from the head on: without one nothing can be told of what follows.
class FromHead final : public ForwardingSink {
 public:
  explicit FromHead(Sink& to) : ForwardingSink({&to}) {}
  [[nodiscard]] bool seen() const { return seen_; }
  [[nodiscard]] const RunInfo& run() const { return run_; }  // of the last head

  void begin(const RunInfo& run) override {
    seen_ = true;
    run_ = run;
    ForwardingSink::begin(run);
  }

 private:
  bool before_handing_on() override { return seen_; }

  bool seen_ = false;
  RunInfo run_;
};

}  // namespace hopbench
