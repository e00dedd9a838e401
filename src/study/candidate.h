// A mechanism that may be behind a case.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "seen/mechanism.h"

namespace hopbench {

/// Symptoms of frames that a mechanism leaves to others.
struct Unexpected {
  bool gone = false;     // not heard at all
  bool cut = false;      // too short
  bool overrun = false;  // marked so
  bool framing = false;  // damaged, a stop bit hit
  bool whole = false;    // damaged, all stop bits whole

  [[nodiscard]] bool any() const { return gone || cut || overrun || framing || whole; }
};

/// A mechanism that what was seen would fit, with why in one sentence.
struct Candidate {
  Mechanism mechanism = Mechanism::bit_noise;
  double score = 0;         // log likelihood, up to a constant; only differences mean anything
  std::string evidence;     // what speaks for it
  std::string against;      // empty: nothing does
  double worst = 0;         // log likelihood of what fits worst
  Unexpected unexpected{};  // on the wire: what it hardly ever does to a frame
};

/// A mechanism that was looked at and cannot be it.
struct Rejected {
  Mechanism mechanism = Mechanism::bit_noise;
  std::string fact;  // the one that rejects it
  double p = 0;      // chance of that fact, were it the mechanism; 0: it cannot be
};

/// What is left of all mechanisms, and what was rejected.
struct Judged {
  std::vector<Candidate> candidates;  // best first; empty: like none of these
  std::size_t tied = 0;               // the first so many cannot be told apart
  std::vector<Rejected> rejected;
};

}  // namespace hopbench
