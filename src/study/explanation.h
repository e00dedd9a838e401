// What `explain` has to say: findings as numbers and sentences, without layout.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "seen/reality.h"
#include "study/advice.h"
#include "study/candidate.h"
#include "study/common.h"
#include "study/counters.h"
#include "study/exhibits.h"
#include "study/held_up.h"
#include "study/rates.h"
#include "study/when.h"
#include "study/where.h"

namespace hopbench {

struct CaseFinding {
  Case which;
  std::uint64_t failures = 0;  // tries
  std::string title;
  std::string symptoms;  // what was seen, counted
  std::string spread;    // over time
  Whens when;
  std::vector<HeldUp> held_up;        // late answers: which stations held frames, and for how long
  std::vector<Candidate> candidates;  // best first; empty: nothing fits
  std::size_t tied = 0;               // the first so many cannot be told apart
  std::vector<Rejected> rejected;
  std::string mixture;              // that others at the same place look different; else empty
  std::vector<std::string> common;  // what its failures have in common, the most telling first
  Common common_rules;              // the same as numbers
  std::string verdict;              // in one sentence
  std::string not_enough;           // how much more would do; empty if there is enough
  Advice next;                      // what would tell the first ones apart, or prove the first
};

struct Explanation {
  Reality reality = Reality::simulated;
  Sight sight = Sight::controller_only;
  std::string headline;
  std::string vantage;  // what it supports
  Rates rates;          // failed tries by what held and what was asked
  Where where;
  Whens when;                             // of all failures together
  std::string when_note;                  // what counts as independent, what could not be tested
  bool as_told = false;                   // conditions were read from the traffic
  std::array<Known, told_count> known{};  // balancing, charge, temperature, supply
  std::string told_note;                  // on the age of conditions read from the traffic; else empty
  std::uint64_t doubtful = 0;             // exchanges left out
  std::vector<CaseFinding> cases;
  std::vector<std::string> cautions;
};

/// Everything that follows from the evidence, from what nodes counted, and from what else was kept, if it is known.
/// `reality`: of the run as the capture tells it, since evidence seen with a controller's eyes tells less of it.
Explanation explain(const Evidence& evidence, Reality reality, const std::vector<NodeCounters>* counters = nullptr,
                    const Exhibits& kept = {});

}  // namespace hopbench
