// Predictions weighed and tested, against numbers reckoned by hand.
#include "study/hypothesis.h"

#include <algorithm>
#include <cmath>
#include <functional>

#include "study/signatures.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

using M = Mechanism;

Hypothesis with_share(double hits, double trials, Allowed allowed) {
  Hypothesis h(M::bit_noise);
  h.share(hits, trials, allowed, "were so");
  return h;
}

/// What is made of a Bayes factor: two in a hundred are left to whatever else happens.
double scored(double factor) { return std::log(0.98 * factor + 0.02); }

/// So many facts that fit: each is worth log 2.
Hypothesis with_facts(Mechanism mechanism, int facts) {
  Hypothesis h(mechanism);
  for (int i = 0; i < facts; ++i) h.fact(true, 1, "fits");
  return h;
}

}  // namespace

TEST_CASE("a share is weighed by how likely it is within what is allowed, against any share") {
  // None of 10: the share has the density 11 (1 - x)^10, of which 1 - 0.9^11 is below 0.1.
  CHECK(with_share(0, 10, {0, 0.1}).score() == Approx(scored((1 - std::pow(0.9, 11)) / 0.1)));
  // All of 10, mirrored.
  CHECK(with_share(10, 10, {0.9, 1}).score() == Approx(scored((1 - std::pow(0.9, 11)) / 0.1)));
  // 1 of 2: density 6 x (1 - x), so 3 x^2 - 2 x^3 is below x: 0.84375 below 3/4, 0.15625 below 1/4.
  CHECK(with_share(1, 2, {0.25, 0.75}).score() == Approx(scored((0.84375 - 0.15625) / 0.5)));
  // Whoever allows everything says nothing.
  CHECK(with_share(3, 10, {0, 1}).score() == Approx(0).margin(1e-12));
  // Far outside, what is left is what happens anyhow.
  CHECK(with_share(100, 100, {0, 0.1}).score() == Approx(std::log(0.02)));
  CHECK(with_share(0, 0, {0, 0.1}).predictions().empty());
}

TEST_CASE("a share outside what is allowed rejects at one in a thousand over all predictions") {
  // Of 10 at 0.1: six or more with a chance of 1.469026e-4, five or more 1.634937e-3 (sums of binomial terms).
  CHECK_FALSE(with_share(5, 10, {0, 0.1}).rejected());
  const auto rejected = with_share(6, 10, {0, 0.1}).rejected();
  REQUIRE(rejected);
  CHECK(rejected->p == Approx(1.469026e-4));
  CHECK(rejected->mechanism == M::bit_noise);
  CHECK(rejected->fact == "60 % were so, at most 10 % expected");
  // The same from below.
  CHECK_FALSE(with_share(5, 10, {0.9, 1}).rejected());
  REQUIRE(with_share(4, 10, {0.9, 1}).rejected());
  CHECK(with_share(4, 10, {0.9, 1}).rejected()->p == Approx(1.469026e-4));
  // Six predictions may have 1.67e-4 each, seven 1.43e-4.
  auto h = with_share(6, 10, {0, 0.1});
  for (int i = 0; i < 5; ++i) h.share(1, 2, {0, 1}, "may be anything");
  REQUIRE(h.rejected());
  CHECK(h.rejected()->p == Approx(6 * 1.469026e-4));
  h.share(1, 2, {0, 1}, "may be anything");
  CHECK_FALSE(h.rejected());
  // What cannot be, and is.
  CHECK(with_share(1, 100, {0, 0}).rejected());
  CHECK_FALSE(with_share(0, 1000, {0, 0}).rejected());
  CHECK(with_share(99, 100, {1, 1}).rejected());
  CHECK_FALSE(with_share(1000, 1000, {1, 1}).rejected());
}

TEST_CASE("many failures weigh as two hundred, since they do not come independent of each other") {
  const auto many = with_share(7000, 50'000, {0, 0.1});
  const auto few = with_share(28, 200, {0, 0.1});
  CHECK(many.score() == Approx(few.score()));
  CHECK_FALSE(many.rejected());  // 50,000 independent ones would reject
  CHECK(with_share(24, 100, {0, 0.1}).rejected());
  CHECK(with_share(24'000, 100'000, {0, 0.1}).rejected());
  // What is told are the numbers as they were.
  CHECK(many.predictions().front().text == "14 % were so");
}

TEST_CASE("a fact weighs by its chance, and only a certain one rejects") {
  const auto fact = [](bool so, double chance) {
    Hypothesis h(M::clock);
    h.fact(so, chance, "it is so");
    return h;
  };
  CHECK(fact(true, 0.9).score() == Approx(std::log(1.8)));
  CHECK(fact(false, 0.9).score() == Approx(std::log(0.2)));
  CHECK(fact(true, 0.5).score() == Approx(0).margin(1e-12));
  CHECK_FALSE(fact(false, 0.999).rejected());
  CHECK_FALSE(fact(true, 0.001).rejected());
  REQUIRE(fact(false, 1).rejected());
  CHECK(fact(false, 1).rejected()->fact == "it is so");
  CHECK(fact(true, 0).rejected());
  CHECK(fact(true, 0).score() == Approx(std::log(0.002)));  // and is held for no surer than one in a thousand
  // What is not sure weighs between, and never rejects.
  const auto likely = [](double sure, double chance) {
    Hypothesis h(M::clock);
    h.likely(sure, chance, "it may be so");
    return h;
  };
  CHECK(likely(1, 0.9).score() == Approx(std::log(1.8)));
  CHECK(likely(0, 0.9).score() == Approx(std::log(0.2)));
  CHECK(likely(0.25, 0.9).score() == Approx(0.25 * std::log(1.8) + 0.75 * std::log(0.2)));
  CHECK_FALSE(likely(1, 0).rejected());
}

TEST_CASE("a test may reject and speaks for nobody, and what cannot be rejects at once") {
  const auto tested = [](double p) {
    Hypothesis h(M::contact);
    h.tested(p, "too even for chance");
    return h;
  };
  CHECK(tested(1).score() == Approx(0).margin(1e-12));
  CHECK(tested(0.005).score() == Approx(std::log(0.1)));
  CHECK_FALSE(tested(0.0011).rejected());
  REQUIRE(tested(0.0009).rejected());
  CHECK(tested(0.0009).rejected()->p == Approx(0.0009));
  CHECK(tested(0).score() == Approx(std::log(0.02)));  // one test alone outweighs no more than that

  Hypothesis h(M::contact);
  h.never(false, "it is the controller");
  CHECK(h.predictions().empty());
  CHECK_FALSE(h.rejected());
  // However well everything else fits.
  for (int i = 0; i < 50; ++i) h.fact(true, 0.99, "fits");
  h.never(true, "it is the controller");
  CHECK(h.score() > 20);
  REQUIRE(h.rejected());
  CHECK(h.rejected()->fact == "it is the controller");
  CHECK(h.rejected()->p <= 0);
}

TEST_CASE("of a mechanism's forms the most likely one that nothing rejects counts") {
  auto impossible = with_facts(M::bursts, 9);
  impossible.never(true, "a stop bit is hit in hardly any");
  const auto possible = with_facts(M::bursts, 4);
  const auto poor = with_facts(M::bursts, 2);
  auto out = with_facts(M::cable, 6);
  out.never(true, "frames pass meanwhile");
  std::vector<Hypothesis> all{poor, impossible, possible, out};
  for (int turn = 0; turn < 2; ++turn) {
    const auto judged = left_of(all);
    REQUIRE(judged.candidates.size() == 1);
    CHECK(judged.candidates.front().mechanism == M::bursts);
    CHECK(judged.candidates.front().score == Approx(4 * std::log(2)));
    REQUIRE(judged.rejected.size() == 1);
    CHECK(judged.rejected.front().mechanism == M::cable);
    CHECK(judged.rejected.front().fact == "frames pass meanwhile");
    std::reverse(all.begin(), all.end());
  }
}

TEST_CASE("candidates within two and a half of the first cannot be told apart, and what says nothing is not named") {
  // 5, 2 and 1 facts: 3 log 2 = 2.08 apart is too near, 4 log 2 = 2.77 is not.
  const auto judged = left_of({with_facts(M::contact, 1), with_facts(M::bit_noise, 5), with_facts(M::bursts, 2)});
  REQUIRE(judged.candidates.size() == 3);
  CHECK(judged.candidates[0].mechanism == M::bit_noise);
  CHECK(judged.candidates[1].mechanism == M::bursts);
  CHECK(judged.candidates[2].mechanism == M::contact);
  CHECK(judged.tied == 2);
  CHECK(judged.rejected.empty());

  // No better than a shrug, or worse, and yet not impossible: neither named nor rejected.
  auto shrug = with_facts(M::supply, 0);
  shrug.fact(true, 0.6, "may be");  // log 1.2 = 0.18
  auto worse = with_facts(M::watchdog, 0);
  worse.fact(true, 0.1, "hardly");
  const auto none = left_of({shrug, worse});
  CHECK(none.candidates.empty());
  CHECK(none.tied == 0);
  CHECK(none.rejected.empty());
  CHECK(left_of({}).candidates.empty());
}

TEST_CASE("for a candidate speaks what it predicts better than the others, against it what it predicts worst") {
  Hypothesis noise(M::bit_noise);
  noise.fact(true, 0.95, "long frames fail more often").share(90, 100, {0, 0.3}, "were cut short");
  noise.share(50, 100, {0, 1}, "are requests");
  Hypothesis cable(M::cable);
  for (int i = 0; i < 4; ++i) cable.fact(true, 0.9, "lasts");
  cable.fact(true, 0.5, "long frames fail more often").share(90, 100, {0.8, 1}, "were cut short");
  cable.share(50, 100, {0, 1}, "are requests");
  const auto judged = left_of({noise, cable});
  REQUIRE(judged.candidates.size() == 1);
  const auto& first = judged.candidates.front();
  CHECK(first.mechanism == M::cable);
  CHECK(first.evidence.find("90 % were cut short") != std::string::npos);
  CHECK(first.evidence.find("requests") == std::string::npos);
  CHECK(first.against.empty());
  REQUIRE(judged.rejected.size() == 1);
  CHECK(judged.rejected.front().fact == "90 % were cut short, at most 30 % expected");
}
