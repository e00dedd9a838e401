// What fails with a condition and without it, and what that says for mechanisms that need it. Figures are invented.
#include "study/effect.h"

#include "study/predictions.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

using M = Mechanism;

/// So many tries with charge current and without, and so many failures, each by itself.
struct Told {
  Evidence evidence;
  Case which;

  Told(std::uint64_t charging, std::uint64_t at_rest, int failed_charging, int failed_at_rest) {
    evidence.known[static_cast<std::size_t>(Condition::charge)].exchanges = 1;
    evidence.moments.resize(2);
    evidence.moments[0].charge = 0;
    evidence.moments[0].tries = at_rest;
    evidence.moments[1].charge = 3;
    evidence.moments[1].tries = charging;
    which.family = Family::wire;
    for (int i = 0; i < failed_charging + failed_at_rest; ++i) {
      Incident incident;
      incident.symptom = Symptom::check;
      incident.good_before = 100;
      incident.moment = i < failed_charging ? 1 : 0;
      which.incidents.push_back(static_cast<std::uint32_t>(evidence.incidents.size()));
      evidence.incidents.push_back(incident);
    }
  }
  [[nodiscard]] Effect effect() const { return effect_of(evidence, which, Condition::charge); }
};

double score(M mechanism, const Effect& charge) {
  CaseFacts facts;
  facts.charge = charge;
  facts.balancing.not_told = facts.temperature.not_told = true;
  GoesWith chances;
  if (mechanism == M::charger) chances.charge = 0.99;
  Hypothesis h(mechanism);
  expect_conditions(h, facts, chances);
  return h.score();
}

}  // namespace

TEST_CASE("failures with a condition and without it are counted where it was told, bunches once") {
  Told told(3000, 7000, 30, 10);
  told.evidence.incidents[0].good_before = 0;  // straight after another
  told.evidence.moments.push_back({});         // nobody told
  told.evidence.moments.back().tries = 5000;
  told.evidence.incidents[1].moment = 2;
  const auto effect = told.effect();
  CHECK(effect.tries_without == Approx(0.7));
  CHECK(effect.episodes == Approx(38));
  CHECK(effect.without == Approx(10));
}

TEST_CASE("few failures tell what needs a condition from what strikes at random, though no trend can be tested") {
  for (const int n : {25, 50, 100}) {
    CAPTURE(n);
    // All of them while it charges; and three in ten, as it charges three tenths of the time.
    const auto needs = Told(3000, 7000, n, 0).effect();
    const auto random = Told(3000, 7000, n * 3 / 10, n - n * 3 / 10).effect();
    REQUIRE_FALSE(needs.alone.tested);  // no six clusters
    CHECK(score(M::charger, needs) > score(M::bit_noise, needs) + 2.5);
    CHECK(score(M::bit_noise, random) > score(M::charger, random) + 2.5);
  }
}

TEST_CASE("what nobody told puts a mechanism that needs it behind others, and no further than a tie") {
  Effect nobody;
  nobody.not_told = true;
  CHECK(score(M::charger, nobody) < 0);
  CHECK(score(M::charger, nobody) > -0.5);
  CHECK(score(M::bit_noise, nobody) == Approx(0).margin(1e-12));
}
