// A capture whose head cannot be read tells of exchanges of which nobody knows whose they are.
#pragma once

#include "seen/forwarding_sink.h"

namespace hopbench {

/// Hands everything on from the head on: without one nothing can be told of what follows.
class FromHead final : public ForwardingSink {
 public:
  explicit FromHead(Sink& to) : ForwardingSink({&to}) {}
  /// The head is known before it comes: that of a later file, where the first one's cannot be read.
  void know(const RunInfo& run) {
    begin(run);
    known_ = true;
  }
  [[nodiscard]] bool seen() const { return seen_; }
  [[nodiscard]] const RunInfo& run() const { return run_; }  // of the last head

  void begin(const RunInfo& run) override {
    if (known_) return;
    seen_ = true;
    run_ = run;
    ForwardingSink::begin(run);
  }

 private:
  bool before_handing_on() override { return seen_; }

  bool seen_ = false;
  bool known_ = false;
  RunInfo run_;
};

}  // namespace hopbench
