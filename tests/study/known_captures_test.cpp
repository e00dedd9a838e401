// Captures of which we know what made their replies go missing. HOPBENCH_SEEDS=20 looks at as many seeds of each.
#include <algorithm>
#include <cstdlib>
#include <regex>
#include <string>

#include "known_captures.h"
#include "study/words.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

std::uint64_t seeds() {
  const char* wanted = std::getenv("HOPBENCH_SEEDS");
  return wanted == nullptr ? 2 : std::strtoull(wanted, nullptr, 10);
}

std::string told(const Explanation& explanation) {
  std::string text = explanation.headline;
  for (const auto& finding : explanation.cases) {
    text += "\n" + finding.title + "; " + finding.symptoms + "; " + finding.spread + "; " + finding.mixture;
    for (const auto& rejected : finding.rejected) {
      text += "\n   not " + std::string(name_of(rejected.mechanism)) + ": " + rejected.fact;
    }
    for (const auto& candidate : finding.candidates) {
      text += "\n   " + std::string(name_of(candidate.mechanism)) + " " + std::to_string(candidate.score) + " " +
              candidate.evidence;
    }
  }
  return text;
}

}  // namespace

TEST_CASE("each mechanism alone comes first where every hop was seen, or a group that it is stated to be in") {
  for (const auto& known : known_captures()) {
    for (std::uint64_t seed = 1; seed <= seeds(); ++seed) {
      const auto explanation = explain_scenario(known.scenario, seed, Eyes::every_hop);
      CAPTURE(known.name, seed);
      INFO(told(explanation));
      REQUIRE_FALSE(explanation.cases.empty());
      CHECK(explanation.cases.front().failures >= 50);
      CHECK(right(known, explanation, Eyes::every_hop));
      for (const auto hop : known.hops) {
        REQUIRE_FALSE(explanation.where.hops.empty());
        CHECK(explanation.where.hops.front().link + 1 == hop);  // in a ring, hop 1 is link 0
      }
    }
  }
}

TEST_CASE("and on a chain that is longer and faster") {
  for (const auto& known : known_captures()) {
    const auto explanation = explain_scenario(on_another_chain(known.scenario), 1, Eyes::every_hop);
    CAPTURE(known.name);
    INFO(told(explanation));
    REQUIRE_FALSE(explanation.cases.empty());
    CHECK(right(known, explanation, Eyes::every_hop));
  }
}

TEST_CASE("what wears frames out further on is not blamed for noise on the first hop") {
  for (const auto& known : known_captures()) {
    if (known.mechanism != Mechanism::pulse_width) continue;
    const auto text = on_another_chain(known.scenario) + R"( hop { into: "s1" bit_error: "1e-4" })";
    const auto explanation = explain_scenario(text, 1, Eyes::every_hop);
    INFO(told(explanation));
    bool looked = false;
    for (const auto& finding : explanation.cases) {
      if (finding.title.find("hop 1 ") == std::string::npos) continue;
      looked = true;
      CHECK(finding.candidates.front().mechanism == Mechanism::bit_noise);
    }
    CHECK(looked);
  }
}

TEST_CASE("a thinned capture is explained and compared as the whole one, or says what it cannot tell") {
  const auto known = std::find_if(known_captures().begin(), known_captures().end(),
                                  [](const KnownCapture& each) { return each.name == "charger"; });
  REQUIRE(known != known_captures().end());
  for (const std::uint32_t one_in : {20U, 0U}) {
    CAPTURE(one_in);
    const auto [whole, whole_tallies] = explain_thinned(known->scenario, 1, 1);
    const auto [thin, thin_tallies] = explain_thinned(known->scenario, 1, one_in);
    CHECK(thin.headline == whole.headline);
    CHECK(thin.where.hops.size() == whole.where.hops.size());
    CHECK(thin_tallies.all.tries.trials == whole_tallies.all.tries.trials);
    CHECK(thin_tallies.all.tries.hits == whole_tallies.all.tries.hits);
    const auto first = first_ones(thin);
    CHECK(std::find(first.begin(), first.end(), Mechanism::charger) != first.end());
    if (one_in == 0) {
      CHECK(first.size() > 1);
      CHECK(thin.when.found.empty());
      CHECK(std::any_of(thin.cautions.begin(), thin.cautions.end(), [](const std::string& caution) {
        return caution.find("no rate by condition can be told") != std::string::npos;
      }));
    } else {
      CHECK(first == std::vector{Mechanism::charger});
      CHECK_FALSE(thin.when.found.empty());
    }
  }
}

TEST_CASE("from the controller no hop is named, and what is named first can be right") {
  for (const auto& known : known_captures()) {
    const auto explanation = explain_scenario(known.scenario, 1, Eyes::controller);
    CAPTURE(known.name);
    INFO(told(explanation));
    CHECK(explanation.where.hops.empty());
    for (const auto& finding : explanation.cases) {
      CHECK(finding.title.find("hop ") == std::string::npos);
      CHECK(finding.verdict.find("hop ") == std::string::npos);
      // Advice may say into which station to listen, but points at no hop by its number.
      CHECK_FALSE(std::regex_search(finding.next.text, std::regex("hops? [0-9]")));
    }
    if (!explanation.cases.empty()) CHECK(right(known, explanation, Eyes::controller));
  }
}
