// What fails with a condition and without it, and what that says for mechanisms that need it. Figures are invented.
#include "study/effect.h"

#include "study/predictions.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

using M = Mechanism;

/// 300 blocks of time with charge current and 700 without, ten tries in each; failures in as many blocks, one in each.
struct Told {
  Evidence evidence;
  Case which;

  Told(std::uint32_t failed_charging, std::uint32_t failed_at_rest) {
    constexpr std::uint32_t charging = 300;
    constexpr std::uint32_t all = 1000;
    evidence.known[static_cast<std::size_t>(Condition::charge)].exchanges = 1;
    for (std::uint32_t block = 0; block < all; ++block) {
      Moment moment;
      moment.block = block;
      moment.charge = block < charging ? 3 : 0;
      moment.tries = 10;
      evidence.moments.push_back(moment);
    }
    which.family = Family::wire;
    for (std::uint32_t i = 0; i < failed_charging + failed_at_rest; ++i) {
      Incident incident;
      incident.symptom = Symptom::check;
      incident.good_before = 100;
      incident.moment = i < failed_charging ? i : charging + i - failed_charging;
      which.incidents.push_back(i);
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
  Told told(30, 10);
  told.evidence.incidents[0].good_before = 0;  // straight after another
  told.evidence.moments.push_back({});         // nobody told
  told.evidence.moments.back().tries = 5000;
  told.evidence.incidents[1].moment = 1000;
  const auto effect = told.effect();
  CHECK(effect.tries_without == Approx(0.7));
  CHECK(effect.episodes == Approx(38));
  CHECK(effect.without == Approx(10));
}

TEST_CASE("many failures within a few blocks of time weigh as few") {
  Told told(40, 40);
  for (auto& incident : told.evidence.incidents) incident.moment = incident.moment < 300 ? 0 : 400;
  const auto effect = told.effect();
  CHECK(effect.episodes == Approx(2));
  CHECK(effect.without == Approx(1));
}

TEST_CASE("few failures tell what needs a condition from what strikes at random, though no trend can be tested") {
  for (const std::uint32_t n : {30, 50, 100}) {
    CAPTURE(n);
    // All of them while it charges; and three in ten, as it charges three tenths of the time.
    auto needs = Told(n, 0).effect();
    auto random = Told(n * 3 / 10, n - n * 3 / 10).effect();
    needs.alone = random.alone = needs.at_equal = random.at_equal = {};  // as with fewer than six charge cycles
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
