// How the failures of a case lie in time: periods, beginning and end, bursts.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "judge/periods.h"
#include "study/cases.h"

namespace hopbench {

/// One instant or number for each failure, and for each of a sample of those that passed, rising.
struct Placed {
  std::vector<double> failed;  // those with something good before them
  std::vector<double> all_failed;
  std::vector<double> passed;
};

/// Before the first failure, or after the last, much passed.
struct Edge {
  Nanos at = 0;              // of that failure
  std::uint64_t passed = 0;  // before it, or after it
  double p = 1;              // chance of that many or more, if failures fell as the others did
};

/// Failures one after the other with nothing good between on the same hop, or with the same node.
struct Runs {
  std::uint64_t runs = 0;
  std::uint64_t longest = 0;
  double expected = 0;  // runs, by chance
  double p = 1;         // chance of so few (A. Wald, J. Wolfowitz 1940)
};

struct Rhythm {
  std::optional<Periodic> in_time;    // ns from the beginning of the evidence
  std::optional<Periodic> in_frames;  // numbers of frames on the hop; of tries
  std::optional<Edge> onset;
  std::optional<Edge> end;
  std::optional<Runs> bursts;
};

/// `times`: ns from evidence.from. `numbers`: empty if there is no one count. `passed_each`: so many stand behind each
/// of those that passed, on average.
Rhythm rhythm_of(const Evidence& evidence, const Case& which, bool frames, const Placed& times, const Placed& numbers,
                 double passed_each);

/// What rules tell already, or what follows from them.
struct ToldElsewhere {
  bool period = false;
  bool edges = false;
  bool bursts = false;
};

/// In sentences, without what is told elsewhere.
std::vector<std::string> sentences_of(const Rhythm& rhythm, const Case& which, bool frames,
                                      const ToldElsewhere& elsewhere);

}  // namespace hopbench
