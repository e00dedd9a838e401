// Prints the table in docs/explain-rates.md: how often explain puts the right mechanism, or its stated group, first.
//   explain_rates [SEEDS]
#include <fmt/format.h>

#include <cstdlib>
#include <map>
#include <string>

#include "../known_captures.h"

using namespace hopbench;

namespace {

struct Rate {
  std::uint64_t right = 0;
  std::uint64_t alone = 0;  // first, and nothing tied with it
  std::uint64_t enough = 0;
};

std::string cell(const Rate& rate, std::uint64_t seeds) {
  if (rate.enough < seeds) return fmt::format("{} of {} ({} with 50 failures)", rate.right, seeds, rate.enough);
  return fmt::format("{} of {}", rate.right, seeds);
}

}  // namespace

int main(int argc, char** argv) {
  const std::uint64_t seeds = argc > 1 ? std::strtoull(argv[1], nullptr, 10) : 20;
  fmt::print(
      "| what is wrong | mechanism | every hop: right first | alone | controller only: right among the first | alone "
      "|\n");
  fmt::print("| --- | --- | --- | --- | --- | --- |\n");
  for (const auto& known : known_captures()) {
    std::map<Eyes, Rate> rates;
    for (const auto eyes : {Eyes::every_hop, Eyes::controller}) {
      for (std::uint64_t seed = 1; seed <= seeds; ++seed) {
        const auto explanation = explain_scenario(known.scenario, seed, eyes);
        auto& rate = rates[eyes];
        if (right(known, explanation, eyes)) ++rate.right;
        if (first_ones(explanation) == std::vector{known.mechanism}) ++rate.alone;
        if (!explanation.cases.empty() && explanation.cases.front().failures >= 50) ++rate.enough;
      }
    }
    const auto& every = rates[Eyes::every_hop];
    const auto& controller = rates[Eyes::controller];
    fmt::print("| {} | {} | {} | {} | {} | {} |\n", known.name, name_of(known.mechanism), cell(every, seeds),
               every.alone, cell(controller, seeds), controller.alone);
  }
}
