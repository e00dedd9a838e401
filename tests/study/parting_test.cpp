// Two mechanisms that meet at one place, and one that is never taken for two.
#include "study/parting.h"

#include <algorithm>
#include <array>
#include <cstdlib>

#include "known_captures.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

using M = Mechanism;

/// The ring of the known captures, with something else about hop 3.
std::string with_hop(const std::string& conditions) {
  const auto known = std::find_if(known_captures().begin(), known_captures().end(),
                                  [](const KnownCapture& each) { return each.name == "cable"; });
  std::string text = known->scenario;
  const std::string stated = R"(open { from: "20min" to: "22min" })";
  return text.replace(text.find(stated), stated.size(), conditions);
}

bool names(const CaseFinding& finding, M mechanism) {
  const auto first = finding.candidates.begin();
  return std::any_of(first, first + static_cast<std::ptrdiff_t>(finding.tied),
                     [&](const Candidate& each) { return each.mechanism == mechanism; });
}

std::string told(const Explanation& explanation) {
  std::string text;
  for (const auto& finding : explanation.cases) {
    text += finding.title + "; " + finding.symptoms + "; " + finding.spread + "; " + finding.mixture + "; " +
            finding.verdict + "\n";
  }
  return text;
}

std::uint64_t seeds() {
  const char* wanted = std::getenv("HOPBENCH_SEEDS");
  return wanted == nullptr ? 40 : std::strtoull(wanted, nullptr, 10);
}

}  // namespace

TEST_CASE("two mechanisms on one hop are two cases, and each is told of the other") {
  struct Mixture {
    std::string conditions;
    M larger;
    M smaller;
  };
  const std::array<Mixture, 2> mixtures{{
      {R"(open { from: "20min" to: "25min" } bit_error: "6e-5")", M::cable, M::bit_noise},
      {R"(open { from: "20min" to: "22min" } bit_error: "2e-4")", M::bit_noise, M::cable},
  }};
  for (const auto& mixture : mixtures) {
    for (std::uint64_t seed = 1; seed <= 2; ++seed) {
      const auto explanation = explain_scenario(with_hop(mixture.conditions), seed, Eyes::every_hop);
      CAPTURE(mixture.conditions, seed);
      INFO(told(explanation));
      REQUIRE(explanation.cases.size() == 2);
      CHECK(names(explanation.cases[0], mixture.larger));
      CHECK(names(explanation.cases[1], mixture.smaller));
      for (const auto& finding : explanation.cases) {
        CHECK(finding.mixture.starts_with("Two things happen here."));
        CHECK(finding.which.part);
        CHECK(finding.which.links == std::vector<std::uint16_t>{2});
      }
      CHECK(explanation.cases[0].mixture != explanation.cases[1].mixture);
    }
  }
}

TEST_CASE("one mechanism alone is never taken for two") {
  const std::array<std::pair<M, std::string>, 4> alone{{
      {M::bit_noise, R"(bit_error: "1e-4")"},
      {M::bursts, R"(burst { mean_good: "10s" mean_bad: "60ms" bad_bit_error: "3%" })"},
      {M::contact, R"(contact { mean_between: "8s" mean_open: "20ms" })"},
      {M::cable, R"(open { from: "20min" to: "23min" })"},
  }};
  for (std::uint64_t seed = 1; seed <= seeds(); ++seed) {
    const auto& [mechanism, conditions] = alone[seed % alone.size()];
    const auto explanation = explain_scenario(with_hop(conditions), seed, Eyes::every_hop);
    CAPTURE(conditions, seed);
    INFO(told(explanation));
    REQUIRE(explanation.cases.size() == 1);
    CHECK(names(explanation.cases[0], mechanism));
    CHECK(explanation.cases[0].mixture.empty());
    CHECK_FALSE(explanation.cases[0].which.part);
  }
}
