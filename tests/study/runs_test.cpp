// Failures one straight after another, against counts made by hand.
#include "study/runs.h"

#include <initializer_list>

#include "support/catch.h"

using namespace hopbench;

namespace {

/// A failure on hop 0 each second, with so many frames that went well before it.
Evidence failures(std::initializer_list<std::uint32_t> good_before) {
  Evidence evidence;
  Nanos at = 0;
  for (const auto good : good_before) {
    Incident incident;
    incident.symptom = Symptom::framing;
    incident.link = 0;
    incident.good_before = good;
    incident.at = at;
    incident.until = at + millisecond;
    at += second;
    evidence.incidents.push_back(incident);
  }
  return evidence;
}

InARow of(const Evidence& evidence, std::vector<std::uint32_t> incidents) {
  Case which;
  which.family = Family::wire;
  which.incidents = std::move(incidents);
  return runs_of(evidence, which);
}

InARow runs(std::uint64_t count, std::uint64_t alone, std::uint64_t longest) {
  InARow some;
  some.count = count;
  some.alone = alone;
  some.longest = longest;
  return some;
}

}  // namespace

TEST_CASE("what went well between failures parts a run") {
  const auto evidence = failures({9, 0, 0, 5, 0, 7});
  const auto all = of(evidence, {0, 1, 2, 3, 4, 5});
  CHECK(all.count == 3);
  CHECK(all.alone == 1);
  CHECK(all.longest == 3);
  CHECK(all.longest_span == 2 * second + millisecond);
  CHECK(all.second_ones == Approx(3.0 / 6));
}

TEST_CASE("the second failures of three pairs are no run of three, though each came straight after another") {
  const auto evidence = failures({9, 0, 9, 0, 9, 0});
  const auto part = of(evidence, {1, 3, 5});
  CHECK(part.count == 3);
  CHECK(part.alone == 3);
  CHECK(part.longest == 1);
  CHECK(part.second_ones == Approx(0).margin(1e-12));
  // Failures of another part between do not part a run.
  const auto around = failures({9, 0, 0});
  CHECK(of(around, {0, 2}).count == 1);
  CHECK(of(around, {0, 2}).longest == 2);
}

TEST_CASE("a run is an outage if the others do not make one as long likely") {
  CHECK(runs(1, 0, 150).outlasts_others());
  CHECK(runs(600, 599, 12).outlasts_others());  // as many as make a hop stand out by themselves
  // 112 of 666 runs go on: four in a row come by that.
  CHECK_FALSE(runs(666, 554, 4).outlasts_others());
  CHECK_FALSE(runs(3, 0, 5).outlasts_others());
  // 5 of 107 go on, so that six in a row are a matter of 100 x 0.047^5, 2 in 100,000; 50 of 102 do, and it is 2.8.
  CHECK(runs(105, 100, 6).outlasts_others());
  CHECK_FALSE(runs(100, 50, 6).outlasts_others());
}
