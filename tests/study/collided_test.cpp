// Frames that were on a link at once.
#include "study/evidence_fold.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

constexpr Nanos character = millisecond;

/// Two exchanges, each with one damaged frame of 20 characters on the hop; the second begins so much after the first.
std::vector<Ending> endings(Nanos after, std::uint16_t second_link = 0) {
  EvidenceFold fold;
  RunInfo run;
  run.controller = "controller";
  run.nodes = {"n1"};
  run.cells = {4};
  run.entries = {{"cells/n1", "n1", "readings"}};
  run.links = {{1, "controller", "n1", false, Vantage::simulated}, {2, "n1", "controller", false, Vantage::simulated}};
  fold.begin(run);
  Nanos start = second;
  for (std::uint64_t number = 0; number < 2; ++number) {
    HopRow row;
    row.link = number == 0 ? 0 : second_link;
    row.answering = row.link == 1;
    row.chars = 20;
    row.start = start;
    row.end = start + 20 * character;
    row.symptom = Symptom::framing;
    const Attempt attempt{start, row.end, Outcome::lost};
    ExchangeObs obs;
    obs.number = obs.turn = number;
    obs.node = 0;
    obs.start = start;
    obs.decided = obs.closed = start + second;
    obs.outcome = Outcome::lost;
    obs.attempts = {&attempt, 1};
    obs.rows = {&row, 1};
    fold.exchange(obs);
    start += after;
  }
  fold.end(10 * second);
  std::vector<Ending> found;
  for (const auto& incident : fold.evidence().incidents) found.push_back(incident.ending);
  return found;
}

}  // namespace

TEST_CASE("two frames on a hop at once are collided, both of them") {
  CHECK(endings(10 * character) == std::vector{Ending::collided, Ending::collided});
  CHECK(endings(18 * character) == std::vector{Ending::collided, Ending::collided});
}

TEST_CASE("frames one after the other, or on two hops, have not collided") {
  const std::vector damaged{Ending::damaged, Ending::damaged};
  CHECK(endings(21 * character) == damaged);
  CHECK(endings(19 * character) == damaged);  // the last edge of one and the first of the next are told no finer
  CHECK(endings(second) == damaged);
  CHECK(endings(10 * character, 1) == damaged);
}
