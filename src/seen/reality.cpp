#include "seen/reality.h"

#include <algorithm>

namespace hopbench {
namespace {

struct Words {
  std::string_view name;
  std::string_view at_top;
  std::string_view in_passing;
  std::string_view in_short;
};

constexpr std::string_view about_the_model = "A verdict from a simulation is about the model, not about a real chain.";

const Words& words_of(Reality reality) {
  static constexpr Words simulated{"simulated", "Simulated", "simulated", "simulated"};
  static constexpr Words simulated_chain{"simulated_chain", "Simulated chain, real controller",
                                         "simulated chain, real controller", "simulated chain"};
  static constexpr Words real_chain{"real_chain", "Real chain", "real chain", "real chain"};
  switch (reality) {
    case Reality::simulated:
      return simulated;
    case Reality::simulated_chain:
      return simulated_chain;
    case Reality::real_chain:
      break;
  }
  return real_chain;
}

}  // namespace

Reality reality_of(const RunInfo& run) {
  if (run.simulated) return Reality::simulated;
  // A chain of one node has no hop but the two at the port. Only a simulation knows why a frame died.
  const bool hop_simulated = std::any_of(run.links.begin(), run.links.end(),
                                         [](const LinkInfo& link) { return link.vantage == Vantage::simulated; });
  return run.truth_known || hop_simulated ? Reality::simulated_chain : Reality::real_chain;
}

std::string_view name_of(Reality reality) { return words_of(reality).name; }
std::string_view at_top(Reality reality) { return words_of(reality).at_top; }
std::string_view in_passing(Reality reality) { return words_of(reality).in_passing; }
std::string_view in_short(Reality reality) { return words_of(reality).in_short; }

std::string_view caution_of(Reality reality) {
  return anything_simulated(reality) ? about_the_model : std::string_view{};
}

}  // namespace hopbench
