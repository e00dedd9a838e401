// Prints the table in docs/explain-rates.md: how often explain puts the right mechanism, or its stated group, first.
//   explain_rates [SEEDS [NAME]]
// With a name only that row, and on stderr what came first where explain was wrong, and the scenario.
#include <fmt/format.h>

#include <array>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include "../known_captures.h"

using namespace hopbench;

namespace {

// Not the seeds that signatures were tried with.
constexpr std::uint64_t first_seed = 1001;

struct Score {
  std::uint64_t right = 0;
  std::uint64_t alone = 0;  // first, and nothing tied with it
  std::uint64_t enough = 0;
};

Score rate_of(const KnownCapture& known, const std::string& scenario, Eyes eyes, std::uint64_t seeds, bool tell) {
  Score rate;
  for (std::uint64_t i = 0; i < seeds; ++i) {
    const auto explanation = explain_scenario(scenario, first_seed + i, eyes);
    if (explanation.cases.empty() || explanation.cases.front().failures < 50) continue;
    ++rate.enough;
    if (right(known, explanation, eyes)) {
      ++rate.right;
    } else if (tell) {
      fmt::print(stderr, "seed {}:", first_seed + i);
      for (const auto& candidate : explanation.cases.front().candidates) {
        fmt::print(stderr, " {} {:.1f} ({});", name_of(candidate.mechanism), candidate.score, candidate.evidence);
      }
      fmt::print(stderr, "\n");
    }
    if (first_ones(explanation) == std::vector{known.mechanism}) ++rate.alone;
  }
  return rate;
}

std::string cell(const Score& rate) {
  return rate.enough == 0 ? "too few failures" : fmt::format("{} of {}, {}", rate.right, rate.enough, rate.alone);
}

void accusations(const char* name, std::uint64_t seeds) {
  for (const auto& known : known_captures()) {
    if (known.name != name) continue;
    std::array<std::uint64_t, 2> accused{};
    for (std::uint64_t i = 0; i < seeds; ++i) {
      for (const auto eyes : {Eyes::every_hop, Eyes::controller}) {
        if (accuses_balancing(explain_scenario(known.scenario, first_seed + i, eyes)))
          ++accused[eyes == Eyes::controller];
      }
    }
    fmt::print("| {} | {} of {} | {} of {} |\n", name, accused[0], seeds, accused[1], seeds);
  }
}

}  // namespace

int main(int argc, char** argv) {
  const std::uint64_t seeds = argc > 1 ? std::strtoull(argv[1], nullptr, 10) : 20;
  fmt::print("| what is wrong | mechanism | every hop | the same on another chain | controller only |\n");
  fmt::print("| --- | --- | --- | --- | --- |\n");
  const std::string only = argc > 2 ? argv[2] : "";
  const bool tell = !only.empty();
  for (const auto& known : known_captures()) {
    if (tell && known.name != only) continue;
    const auto another = on_another_chain(known.scenario);
    if (tell) fmt::print(stderr, "{}\n--- on another chain\n{}\n", known.scenario, another);
    fmt::print("| {} | {} | {} | {} | {} |\n", known.name, name_of(known.mechanism),
               cell(rate_of(known, known.scenario, Eyes::every_hop, seeds, tell)),
               cell(rate_of(known, another, Eyes::every_hop, seeds, tell)),
               cell(rate_of(known, known.scenario, Eyes::controller, seeds, tell)));
    std::fflush(stdout);
  }
  if (tell) return 0;
  fmt::print("\n| balancing is innocent | accused, every hop | accused, controller only |\n| --- | --- | --- |\n");
  accusations("noise through charge cycles", 5 * seeds);
  accusations("charger", 5 * seeds);
}
