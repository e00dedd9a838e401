// What failures have in common against what mechanisms may depend on. The rules are invented.
#include "study/dependence.h"

#include <algorithm>

#include "support/catch.h"

using namespace hopbench;

namespace {

using M = Mechanism;

/// One hop with frames of 8 to 15 and, if so, of 24 to 31 characters: at most 32 / 12 times as long.
struct Place {
  Evidence evidence;
  Case which;
  CaseFacts facts;

  explicit Place(bool two_lengths) {
    evidence.links.resize(1);
    evidence.links[0].frames = 20'000;
    evidence.links[0].frames_by_chars[1] = 10'000;
    if (two_lengths) evidence.links[0].frames_by_chars[3] = 10'000;
    which.family = Family::wire;
    which.links = {0};
  }
};

/// In one frame of ten that falls under it, and so many times less often elsewhere.
Rule rule_of(std::initializer_list<FacetId> facets, std::uint64_t times) {
  Rule rule;
  for (const auto facet : facets) rule.parts.push_back({facet, {}, {}, {}, {}});
  rule.failed_in = 10'000;
  rule.in = 100'000;
  rule.failed_out = 10'000 / times;
  rule.out = 100'000;
  rule.p = 1e-9;
  rule.sentence = "10,000 of 100,000 such frames";
  return rule;
}

bool rejects(const Place& place, const Rule& rule, Mechanism mechanism) {
  std::vector<Hypothesis> all{Hypothesis(mechanism)};
  Common common;
  common.rules = {rule};
  expect_rules(all, {place.evidence, place.which, place.facts}, common);
  const auto rejected = all.front().rejected();
  if (rejected) CHECK(rejected->fact == rule.sentence);
  return rejected.has_value();
}

}  // namespace

TEST_CASE("what hangs on what is said is no noise") {
  const Place place(true);
  for (const auto facet : {FacetId::asked_field, FacetId::reply_field, FacetId::changed, FacetId::reply_byte}) {
    const auto rule = rule_of({facet}, 100);
    for (const auto mechanism : {M::bit_noise, M::bursts, M::contact, M::charger, M::bleed_edges, M::cable, M::supply})
      CHECK(rejects(place, rule, mechanism));
    for (const auto mechanism : {M::pulse_width, M::clock, M::measurement, M::wake_up, M::room})
      CHECK_FALSE(rejects(place, rule, mechanism));
  }
}

TEST_CASE("what a node told before is how things were with it") {
  const Place place(true);
  const auto rule = rule_of({FacetId::before_field}, 100);
  for (const auto mechanism : {M::supply, M::watchdog, M::busy_node, M::charger, M::bleed_edges})
    CHECK_FALSE(rejects(place, rule, mechanism));
  for (const auto mechanism : {M::bit_noise, M::bursts, M::contact, M::cable}) CHECK(rejects(place, rule, mechanism));
}

TEST_CASE("noise hits long frames more often, by as much as they are longer") {
  const auto long_ones = rule_of({FacetId::length}, 10);
  CHECK_FALSE(rejects(Place(true), long_ones, M::bit_noise));  // 6 * 32 / 12 = 16 times is borrowed from length
  CHECK(rejects(Place(false), long_ones, M::bit_noise));       // 6 * 16 / 12 = 8 times
  CHECK(rejects(Place(true), rule_of({FacetId::length}, 50), M::bit_noise));
  CHECK_FALSE(rejects(Place(true), rule_of({FacetId::length}, 50), M::clock));
  // So it is with all that goes along with length.
  for (const auto facet : {FacetId::topic, FacetId::leg, FacetId::reply_field, FacetId::held, FacetId::attempt}) {
    CHECK_FALSE(rejects(Place(true), rule_of({facet}, 10), M::bit_noise));
    CHECK(rejects(Place(true), rule_of({facet}, 50), M::bit_noise));
  }
  // Not with what counts frames.
  CHECK(rejects(Place(true), rule_of({FacetId::count}, 10), M::bit_noise));
  CHECK_FALSE(rejects(Place(true), rule_of({FacetId::count}, 10), M::controller));
}

TEST_CASE("a rule of several parts rejects only if none of them may be") {
  const Place place(true);
  CHECK(rejects(place, rule_of({FacetId::count, FacetId::reply_field}, 100), M::bit_noise));
  CHECK_FALSE(rejects(place, rule_of({FacetId::count, FacetId::reply_field}, 100), M::pulse_width));
  CHECK_FALSE(rejects(place, rule_of({FacetId::reply_field, FacetId::condition}, 100), M::bit_noise));
  CHECK_FALSE(rejects(place, rule_of({FacetId::length, FacetId::count}, 10), M::bit_noise));
  CHECK(rejects(place, rule_of({FacetId::length, FacetId::count}, 100), M::bit_noise));
  CHECK(rejects(place, rule_of({FacetId::count, FacetId::turn, FacetId::number}, 100), M::clock));
}

TEST_CASE("a rule that is weak, uncertain or of few of the failures rejects nobody") {
  const Place place(true);
  const auto strong = rule_of({FacetId::count}, 100);
  REQUIRE(rejects(place, strong, M::bit_noise));
  CHECK_FALSE(rejects(place, rule_of({FacetId::count}, 5), M::bit_noise));
  auto uncertain = strong;
  uncertain.p = 1e-5;
  CHECK_FALSE(rejects(place, uncertain, M::bit_noise));
  auto few = strong;  // still a hundred times as frequent there
  few.failed_out = 60'000;
  few.out = 60'000'000;
  CHECK_FALSE(rejects(place, few, M::bit_noise));
  std::vector<Hypothesis> all{Hypothesis(M::bit_noise)};
  expect_rules(all, {place.evidence, place.which, place.facts}, Common{});
  CHECK_FALSE(all.front().rejected());
}

TEST_CASE("what follows straight after a failure is no order, where failures stand together") {
  Place place(false);
  const auto rule = rule_of({FacetId::since_frame}, 20);
  CHECK(rejects(place, rule, M::bursts));
  place.facts.runs.second_ones = 0.5;
  CHECK_FALSE(rejects(place, rule, M::bursts));
  CHECK(rejects(place, rule_of({FacetId::since_frame}, 100), M::bursts));
}

TEST_CASE("a period counts where it came round often enough") {
  const auto at_rounds = [](int rounds) {
    Place place(true);
    for (int i = 0; i < 40; ++i) {
      Incident incident;
      incident.at = (i % rounds) * Nanos{3600} * second + i * second;
      place.which.incidents.push_back(static_cast<std::uint32_t>(i));
      place.evidence.incidents.push_back(incident);
    }
    return place;
  };
  auto rule = rule_of({FacetId::period}, 100);
  rule.parts.front().clause.relation = Relation::phase;
  rule.parts.front().clause.modulus = Nanos{3600} * second;
  CHECK_FALSE(rejects(at_rounds(7), rule, M::bit_noise));
  CHECK(rejects(at_rounds(8), rule, M::bit_noise));
  CHECK_FALSE(rejects(at_rounds(8), rule, M::busy_node));
  CHECK_FALSE(rejects(at_rounds(8), rule, M::charger));  // charging comes round
}

TEST_CASE("where edges are passed on, failures may look as if they were of one place") {
  Place place(false);
  const auto rule = rule_of({FacetId::node}, 100);
  CHECK(rejects(place, rule, M::bit_noise));
  place.evidence.links[0].edges = place.evidence.links[0].frames;
  CHECK_FALSE(rejects(place, rule, M::bit_noise));
}
