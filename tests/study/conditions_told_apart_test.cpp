// Conditions that move together: cells balance at the top of charge, while the charger charges and boards are warm. The
// observations are invented, so what is guilty is known.
#include <algorithm>
#include <cstdlib>

#include "known_captures.h"
#include "made_up.h"
#include "study/evidence_fold.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

Explanation explained(const made_up::Plan& plan, Eyes eyes = Eyes::every_hop) {
  EvidenceFold fold;
  AtController shut(fold, nullptr);
  made_up::tell(plan, eyes == Eyes::controller ? static_cast<Observer&>(shut) : fold);
  return explain(fold.evidence(), Reality::simulated);
}

bool names(const std::vector<Mechanism>& first, Mechanism mechanism) {
  return std::find(first.begin(), first.end(), mechanism) != first.end();
}

made_up::Plan plan_of(std::uint64_t seed, std::function<double(std::size_t, const made_up::Around&)> damage) {
  made_up::Plan plan;
  plan.seed = seed;
  plan.damage = std::move(damage);
  return plan;
}

std::uint64_t many() {
  const char* wanted = std::getenv("HOPBENCH_SEEDS");
  return wanted == nullptr ? 20 : std::strtoull(wanted, nullptr, 10);
}

}  // namespace

TEST_CASE("balancing is not accused where nothing depends on it, nor where the charger is guilty") {
  // Of 100 seeds 5 may; of fewer, 1. (The tests are made to accuse in at most one of a hundred.)
  const std::uint64_t allowed = many() >= 100 ? 5 : 1;
  std::uint64_t healthy = 0;
  std::uint64_t charger = 0;
  std::uint64_t found = 0;
  std::uint64_t at_controller = 0;
  for (std::uint64_t seed = 1; seed <= many(); ++seed) {
    if (accuses_balancing(explained(plan_of(seed, [](auto, const auto&) { return 0.0008; })))) ++healthy;
    const auto guilty = plan_of(seed, [](auto, const auto& around) { return around.charging ? 0.003 : 0.0002; });
    const auto explanation = explained(guilty);
    if (accuses_balancing(explanation)) ++charger;
    const auto first = first_ones(explanation);
    if (first == std::vector{Mechanism::charger}) ++found;
    if (accuses_balancing(explained(guilty, Eyes::controller))) ++at_controller;
  }
  CHECK(healthy <= allowed);
  CHECK(charger <= allowed);
  CHECK(at_controller <= allowed);
  CHECK(found >= many() - allowed);
}

TEST_CASE("bleeding is named where damage follows it at equal charge current") {
  for (std::uint64_t seed = 1; seed <= 3; ++seed) {
    CAPTURE(seed);
    const auto first =
        first_ones(explained(plan_of(seed, [](auto, const auto& around) { return 0.0002 + 0.0002 * around.cells; })));
    CHECK(names(first, Mechanism::bleed_edges));
    CHECK_FALSE(names(first, Mechanism::charger));
  }
}

TEST_CASE("what always comes together is named together, with what would tell it apart") {
  auto plan = plan_of(1, [](auto, const auto& around) { return around.charging ? 0.003 : 0.0002; });
  plan.always_together = true;
  const auto explanation = explained(plan);
  const auto first = first_ones(explanation);
  CHECK(names(first, Mechanism::charger));
  CHECK(names(first, Mechanism::bleed_edges));
  REQUIRE_FALSE(explanation.cases.empty());
  const auto& next = explanation.cases.front().next;
  CHECK(next.text.find("charger off") != std::string::npos);
  CHECK(next.near_battery);
  CHECK(next.text.ends_with(watch_cells()));
  // The same is said of the conditions, and then as well with what to watch.
  for (const auto* together : {&explanation.when.together, &explanation.cases.front().when.together}) {
    CHECK(together->text.find("balancing disabled") != std::string::npos);
    CHECK(together->near_battery);
    CHECK(together->text.ends_with(watch_cells()));
  }
}

TEST_CASE("a clock that runs away as its board warms is found by the length of its characters") {
  for (std::uint64_t seed = 1; seed <= 3; ++seed) {
    CAPTURE(seed);
    const auto off = [](const made_up::Around& around) { return -0.0025 * (around.board - 25); };
    auto plan = plan_of(seed, [&](std::size_t link, const made_up::Around& around) {
      return link == 5 && off(around) < -0.025 ? 0.2 : 0.0;
    });
    // Bit for bit the receiver comes further off the middle, so that the stop bit, which is last, goes first.
    plan.stop_bits = 0.97;
    plan.slow = [&](std::size_t sender, const made_up::Around& around) { return sender == 5 ? off(around) : 0.0; };
    const auto explanation = explained(plan);
    CHECK(first_ones(explanation) == std::vector{Mechanism::clock});
    REQUIRE_FALSE(explanation.where.hops.empty());
    CHECK(explanation.where.hops.front().link == 5);
    CHECK(explanation.cases.front().verdict.find("n5") != std::string::npos);
  }
}
