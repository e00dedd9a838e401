// Who held late answers up, and who is not to be named with it.
#include "study/held_up.h"

#include "study/evidence_fold.h"
#include "study/explanation.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

constexpr Nanos frame = 5 * millisecond;

/// A ring of three. n3 takes 60 ms to answer, always; n1 passes on within 1 ms, except now and then.
struct Ring {
  EvidenceFold fold;
  std::uint64_t number = 0;
  Nanos now = 0;

  Ring() {
    RunInfo run;
    run.controller = "controller";
    run.nodes = {"n1", "n2", "n3"};
    run.cells = {1, 1, 1};
    run.links = {{1, "controller", "n1", false, Vantage::simulated},
                 {2, "n1", "n2", false, Vantage::simulated},
                 {3, "n2", "n3", false, Vantage::simulated},
                 {4, "n3", "controller", false, Vantage::simulated}};
    run.entries = {{"cells/n3", "n3", "readings"}};
    fold.begin(run);
  }

  /// n1 takes so long to pass the ask on; the time-out is 150 ms.
  void ask(Nanos held) {
    std::vector<HopRow> rows;
    Nanos at = now;
    for (std::uint16_t link = 0; link < 4; ++link) {
      rows.push_back({at, at + frame, link, 10, 0, link == 3, 0, Symptom::none, false});
      at += frame + (link == 0 ? held : link == 2 ? 60 * millisecond : millisecond);
    }
    const bool late = held > 50 * millisecond;
    const Attempt attempt{now, now + frame, late ? Outcome::late : Outcome::answered};
    ExchangeObs obs;
    obs.number = obs.turn = number++;
    obs.node = 2;
    obs.start = now;
    obs.decided = obs.closed = now + 200 * millisecond;
    obs.since_last = second;
    obs.round_trip = late ? -1 : at - now;
    obs.outcome = attempt.outcome;
    obs.attempts = {&attempt, 1};
    obs.rows = rows;
    fold.exchange(obs);
    now += second;
  }
};

}  // namespace

TEST_CASE("the station that held answers up is named, from the first late answer on") {
  Ring ring;
  // The first are late before anything is known of what is usual: the longest stay is at n3, which always takes so
  // long.
  for (int i = 0; i < 12; ++i) ring.ask(55 * millisecond);
  for (int i = 0; i < 400; ++i) ring.ask(i % 10 == 9 ? 90 * millisecond : millisecond);
  ring.fold.end(ring.now);
  const auto& evidence = ring.fold.evidence();
  REQUIRE(evidence.incidents.size() == 52);
  for (const auto& incident : evidence.incidents) CHECK(incident.station == 0);

  const auto explained = explain(evidence, Reality::simulated);
  REQUIRE(explained.cases.size() == 1);
  CHECK(explained.cases.front().title == "52 failed tries: answers after the time-out at n1");
  const auto& rows = explained.cases.front().held_up;
  REQUIRE(rows.size() == 2);
  CHECK(rows[0].station == "n1");
  CHECK_FALSE(rows[0].answering);
  CHECK(rows[0].late == 52);
  CHECK(rows[0].frames == 412);
  CHECK(rows[0].median == Approx(1e6).epsilon(0.04));
  CHECK(rows[0].most == Approx(90e6).epsilon(0.04));
  CHECK(rows[0].longest == 90 * millisecond);
  CHECK(rows[1].station == "1 other");
  CHECK(rows[1].frames == 412);
  CHECK(rows[1].late == 0);
  CHECK(rows[1].longest == millisecond);
}

TEST_CASE("a plan entry that is never answered in time does not make its node the one that held it up") {
  Ring ring;
  for (int i = 0; i < 60; ++i) ring.ask((80 + i % 3) * millisecond);
  ring.fold.end(ring.now);
  // Nothing tells what is usual here: no claim is made but that the longest stay was the longest.
  const auto explained = explain(ring.fold.evidence(), Reality::simulated);
  REQUIRE(explained.cases.size() == 1);
  CHECK(explained.cases.front().title.find("n2") == std::string::npos);
}
