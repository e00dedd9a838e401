// Holds what explain says against what was hidden.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "case_run.h"
#include "hidden_case.h"

namespace hopbench::rates {

enum class Verdict : std::uint8_t {
  alone,   // it is the only first one
  tied,    // among the first, of which there are few
  wrong,   // something else is named, or too many
  none,    // "like none of these"
  mixed,   // its failures are in a case that is mostly another's, and a mixture is said
  merged,  // the same, and nothing says so
  little,  // its case has too few failures for a verdict
};
inline constexpr std::size_t verdict_count = 7;
std::string_view name_of(Verdict verdict);

/// Of one hidden mechanism.
struct Judgement {
  Mechanism mechanism = Mechanism::bit_noise;
  std::string name;
  Verdict verdict = Verdict::none;
  std::size_t group = 0;   // mechanisms named first
  std::uint64_t mine = 0;  // its incidents in the case, of
  std::uint64_t in_all = 0;
  std::string named;  // the case's title, and what was named with its sentences
  std::string truth;  // causes of the case's failures
};

/// A sentence of place or time, seen from the controller.
struct Claim {
  enum class What : std::uint8_t { node, stretch } what = What::node;
  bool holds = true;
  std::string sentence;
};

struct CaseJudgement {
  std::uint64_t seed = 0;
  std::vector<Judgement> hidden;      // with enough failures
  std::vector<std::string> innocent;  // other cases that name only what is not there
  std::vector<Claim> claims;          // from the controller only
  bool balancing_innocent = false;    // cells are balanced, and nothing that is hidden hangs on it
  bool balancing_accused = false;     // failures are said to go with it, and not only by way of something else
};

/// Of the controller's view: with simulations of each mechanism on the chain, as explain makes them, or without.
enum class Effort : std::uint8_t { quick, simulated };

/// What explain says of it.
Explanation explanation_of(const CaseRun& run, Eyes eyes, Effort effort);

CaseJudgement judge(const HiddenCase& hidden, const CaseRun& run, const Explanation& explanation, Eyes eyes);

/// Mechanisms named first in a case.
std::vector<Mechanism> named_first(const CaseFinding& finding);
/// They and their sentences, in one line.
std::string named_in(const CaseFinding& finding);

}  // namespace hopbench::rates
