// What `explain` has to say: findings as numbers and sentences, without layout.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "seen/mechanism.h"
#include "study/cases.h"

namespace hopbench {

/// A mechanism that what was seen would fit, with why in one sentence.
struct Candidate {
  Mechanism mechanism = Mechanism::bit_noise;
  double score = 0;  // points for and against; only differences mean anything
  std::string evidence;
};

/// How failures go with one condition.
struct When {
  Condition condition = Condition::balancing;
  Trend trend;
  double adjusted_p = 1;  // after Holm, over the conditions tested
  std::string sentence;
};

struct HopFinding {
  std::uint16_t link = no_link;
  std::uint64_t lost = 0;
  std::uint64_t frames = 0;
  double adjusted_p = 1;
  std::string sentence;
};

struct CaseFinding {
  Case which;
  std::uint64_t failures = 0;  // tries
  std::string title;
  std::string symptoms;               // what was seen, counted
  std::string spread;                 // over time
  std::vector<When> when;             // conditions that failures go with, and ones that move together with them
  std::vector<Candidate> candidates;  // best first; empty: nothing fits
  std::size_t tied = 0;               // the first so many cannot be told apart
  std::string verdict;                // in one sentence
  std::string not_enough;             // how much more would do; empty if there is enough
  std::string next;                   // what would tell the first ones apart, or prove the first
};

struct Explanation {
  bool simulated = true;
  Sight sight = Sight::controller_only;
  std::string headline;
  std::string vantage;             // what it supports
  std::vector<std::string> where;  // sentences
  std::vector<HopFinding> hops;    // that stand out
  std::vector<When> when;          // of all failures together
  std::string when_note;           // units, what could not be tested
  std::vector<CaseFinding> cases;
  std::vector<std::string> cautions;
};

/// Everything that follows from the evidence.
Explanation explain(const Evidence& evidence);

}  // namespace hopbench
