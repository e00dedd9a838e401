// What each mechanism would leave on the chain at hand. The scenario's own mechanisms and faults play no part in it.
#include "study/reproduce.h"

#include <algorithm>

#include "chain/chain.h"
#include "known_captures.h"
#include "scenario/without.h"
#include "scenarios.h"
#include "study/controller_judge.h"
#include "study/evidence_fold.h"
#include "study/explanation.h"
#include "support/dice.h"
#include "support/physical_scenario.h"
#include "support/random_scenario.h"

using namespace hopbench;

namespace {

/// The same chain, whatever its kinds are called and in which order they stand.
bool same(const ChainDescription& a, const ChainDescription& b) {
  if (a.nodes.size() != b.nodes.size() || a.links != b.links || !(a.controller == b.controller) ||
      !(a.pack == b.pack) || a.faults != b.faults) {
    return false;
  }
  for (std::size_t i = 0; i < a.nodes.size(); ++i) {
    auto one = a.nodes[i];
    auto other = b.nodes[i];
    auto kind = a.kinds[one.kind];
    auto other_kind = b.kinds[other.kind];
    one.kind = other.kind = 0;
    kind.name = other_kind.name = "";
    if (!(one == other) || !(kind == other_kind)) return false;
  }
  return true;
}

const std::string& known(const std::string& name) {
  const auto& all = known_captures();
  return std::find_if(all.begin(), all.end(), [&](const KnownCapture& each) { return each.name == name; })->scenario;
}

struct Explained {
  Evidence evidence;
  Reproduced reproduced;
  Explanation explanation;
};

/// As the controller sees it; simulated on the chain that `of` makes of the scenario's.
template <class Of>
Explained explained(const std::string& text, Of of) {
  const auto scenario = study_tests::loaded(text);
  const Protocol protocol(scenario.bus);
  EvidenceFold fold;
  AtController shut(fold, &protocol);
  Observed door(shut);
  Chain chain(protocol, scenario.chain, 1, Way::repeats, Seat::simulated, door);
  REQUIRE(chain.run_until(scenario.chain.run_for));
  chain.finish({});
  Explained out;
  out.evidence = fold.evidence();
  auto plan = plan_for(out.evidence, 2);
  plan.exchanges = std::min<std::uint64_t>(plan.exchanges, 3000);
  out.reproduced = reproduce_all(protocol, of(scenario.chain), plan, [] { return false; }, {});
  out.explanation = explain(out.evidence, Reality::simulated, nullptr, {nullptr, nullptr, &out.reproduced});
  return out;
}

const auto as_it_is = [](ChainDescription chain) { return chain; };

bool names(const CaseFinding& finding, Mechanism mechanism) {
  return std::any_of(finding.candidates.begin(), finding.candidates.end(),
                     [&](const Candidate& each) { return each.mechanism == mechanism; });
}

}  // namespace

TEST_CASE("the healthy twin is the same whatever a scenario has of mechanisms and faults") {
  for (std::uint64_t number = 0; number < 200; ++number) {
    CAPTURE(number);
    const auto scenario = number % 2 == 0 ? physical_scenario(number) : random_scenario(number);
    const auto twin = healthy_twin(scenario.chain);
    CHECK(healthy_twin(twin) == twin);
    CHECK(mechanisms_of(healthy_twin(twin)).size() <= 1);  // balancing
    for (const Mechanism each : mechanisms()) {
      if (each == Mechanism::balancing) continue;
      CAPTURE(name_of(each));
      CHECK(same(healthy_twin(without(scenario.chain, each)), twin));
    }
  }
}

TEST_CASE("and the same comes of a chain into which something was planted") {
  for (std::uint64_t number = 0; number < 12; ++number) {
    CAPTURE(number);
    const auto scenario = physical_scenario(number);
    const Protocol protocol(scenario.bus);
    const auto twin = healthy_twin(scenario.chain);
    const auto habits = habits_of(protocol, twin);
    if (!habits) continue;
    for (const auto& planting : plantings(twin, *habits, {0, 0.01, 3000, 1e9})) {
      CAPTURE(name_of(planting.mechanism), planting.how);
      CHECK_FALSE(same(planting.chain, twin));
      CHECK(same(healthy_twin(planting.chain), twin));
    }
  }
}

TEST_CASE("an explanation does not hang on what the scenario in the head says of mechanisms") {
  const auto& text = known("contact");
  const auto one = explained(text, as_it_is);
  const auto other = explained(text, [](ChainDescription chain) {
    chain = without(std::move(chain), mechanisms());
    chain.faults.clear();
    return chain;
  });
  REQUIRE(one.explanation.cases.size() == other.explanation.cases.size());
  CHECK(one.reproduced.runs == other.reproduced.runs);
  for (std::size_t i = 0; i < one.explanation.cases.size(); ++i) {
    CHECK(one.explanation.cases[i].verdict == other.explanation.cases[i].verdict);
    REQUIRE(one.explanation.cases[i].rejected.size() == other.explanation.cases[i].rejected.size());
    for (std::size_t k = 0; k < one.explanation.cases[i].rejected.size(); ++k) {
      CHECK(one.explanation.cases[i].rejected[k].fact == other.explanation.cases[i].rejected[k].fact);
    }
  }
}

TEST_CASE("what is there is within the group, and what cannot be is not") {
  const auto looked = [](const std::string& name, Mechanism there, std::vector<Mechanism> never) {
    CAPTURE(name);
    const auto out = explained(known(name), as_it_is);
    REQUIRE_FALSE(out.explanation.cases.empty());
    const auto& finding = out.explanation.cases.front();
    INFO(finding.verdict);
    CHECK(names(finding, there));
    CHECK(finding.tied == finding.candidates.size());
    for (const Mechanism each : never) {
      CAPTURE(name_of(each));
      CHECK_FALSE(names(finding, each));
      CHECK(std::any_of(finding.rejected.begin(), finding.rejected.end(),
                        [&](const Rejected& no) { return no.mechanism == each && !no.fact.empty(); }));
    }
  };
  // This chain has no battery, and forwards no edges.
  looked("noise on one hop", Mechanism::bit_noise, {Mechanism::charger, Mechanism::pulse_width, Mechanism::supply});
  looked("measurement", Mechanism::measurement, {Mechanism::bit_noise, Mechanism::cable, Mechanism::bursts});
}

TEST_CASE("what is simulated is the same on one thread and on several") {
  const auto scenario = study_tests::loaded(study_tests::six_nodes);
  const Protocol protocol(scenario.bus);
  ReproducePlan plan;
  plan.exchanges = 300;
  const auto one = reproduce_all(protocol, scenario.chain, plan, [] { return false; }, {});
  plan.threads = 3;
  const auto three = reproduce_all(protocol, scenario.chain, plan, [] { return false; }, {});
  REQUIRE(one.runs == three.runs);
  for (std::size_t m = 0; m < mechanism_count; ++m) {
    REQUIRE(one.left[m].size() == three.left[m].size());
    for (std::size_t i = 0; i < one.left[m].size(); ++i) {
      REQUIRE(one.left[m][i].by_family.size() == three.left[m][i].by_family.size());
      for (const auto& [family, trace] : one.left[m][i].by_family) {
        CHECK(three.left[m][i].by_family.at(family).share == trace.share);
      }
    }
  }
}

TEST_CASE("simulations end when they are told to, and then nothing is held against them") {
  const auto scenario = study_tests::loaded(study_tests::six_nodes);
  const Protocol protocol(scenario.bus);
  ReproducePlan plan;
  plan.exchanges = 300;
  const auto out = reproduce_all(protocol, scenario.chain, plan, [] { return true; }, {});
  CHECK(out.stopped);
  for (const auto& each : out.left) CHECK(each.empty());
}
