#include "study/when.h"

#include <vector>

#include "study/evidence_fold.h"
#include "support/catch.h"

using namespace hopbench;

TEST_CASE("conditions of which no two tries had one alike are parted by a fit with both") {
  // Each number of cells balancing has a temperature of its own and the other way round, so at equal values of one the
  // other never varies; but they do not rise in step. Failures follow balancing: 2, 4, ... 16 of 2000 tries.
  constexpr std::uint8_t temperature_of[] = {0, 2, 1, 4, 3, 6, 5, 7};
  Evidence evidence;
  evidence.cycles = 20;
  evidence.conditions_known = true;
  evidence.block_span = 60 * second;
  Case which;
  which.family = Family::wire;
  for (std::uint32_t cycle = 0; cycle < 20; ++cycle) {
    for (std::uint8_t balancing = 0; balancing < 8; ++balancing) {
      Moment moment;
      moment.cycle = cycle;
      moment.balancing = balancing;
      moment.temperature = temperature_of[balancing];
      moment.tries = 2000;
      moment.failures = 2ULL * (balancing + 1) + (cycle * 5 + balancing * 3) % 4;
      for (std::uint64_t i = 0; i < moment.failures; ++i) {
        Incident incident;
        incident.moment = static_cast<std::uint32_t>(evidence.moments.size());
        which.incidents.push_back(static_cast<std::uint32_t>(evidence.incidents.size()));
        evidence.incidents.push_back(incident);
      }
      evidence.moments.push_back(moment);
    }
  }
  const auto whens = whens_of(evidence, which);
  const auto confounding = [&](Condition condition) -> std::optional<Confounding> {
    for (const auto& when : whens.found) {
      if (when.condition == condition) return when.confounding;
    }
    return std::nullopt;
  };
  REQUIRE(confounding(Condition::balancing));
  REQUIRE(confounding(Condition::temperature));  // it moves along, so it has an effect as far as one looks at it alone
  CHECK(*confounding(Condition::balancing) == Confounding::holds);
  CHECK(*confounding(Condition::temperature) == Confounding::cannot_tell);
}

namespace {

/// Six hours of one node that is asked every second and says 0x00 or 0x55 in turn, for 37 answers each. Of the tries,
/// one in `one_in` fails while it says the one, and one in `other_one_in` while it says the other.
Evidence talk(std::uint64_t one_in, std::uint64_t other_one_in, Symptom symptom) {
  RunInfo run;
  run.controller = "controller";
  run.nodes = {"n1"};
  run.cells = {1};
  run.links = {{1, "controller", "n1", false, Vantage::simulated}, {2, "n1", "controller", false, Vantage::simulated}};
  run.entries = {{"cells/n1", "n1", "readings"}};
  EvidenceFold fold;
  fold.begin(run);
  for (std::uint64_t i = 0; i < 6 * 3600; ++i) {
    const bool busy = i / 37 % 2 == 1;
    const bool fails = (i * 7919) % (busy ? one_in : other_one_in) == 0;
    const std::vector<std::uint8_t> said(4, busy ? 0x55 : 0x00);
    const Nanos at = static_cast<Nanos>(i) * second;
    const Attempt attempt{at, at + millisecond, fails ? Outcome::lost : Outcome::answered};
    std::vector<HopRow> rows(2);
    rows[0] = {at, at + millisecond, 0, 10, 0, false, 0, Symptom::none, false};
    rows[1] = {at + 2 * millisecond, at + 3 * millisecond, 1, 10, 0, true, 0, fails ? symptom : Symptom::none, false};
    if (fails && symptom == Symptom::none) rows.pop_back();
    ExchangeObs obs;
    obs.number = obs.turn = i;
    obs.node = 0;
    obs.start = at;
    obs.decided = obs.closed = at + 300 * millisecond;
    obs.since_last = second;
    obs.round_trip = fails ? -1 : 3 * millisecond;
    obs.outcome = attempt.outcome;
    obs.attempts = {&attempt, 1};
    obs.rows = rows;
    if (!fails) obs.answered = said;
    fold.exchange(obs);
  }
  fold.end(6 * 3600 * second);
  return fold.evidence();
}

std::vector<Condition> found(const Evidence& evidence) {
  Case all;
  for (std::uint32_t i = 0; i < evidence.incidents.size(); ++i) all.incidents.push_back(i);
  std::vector<Condition> conditions;
  for (const auto& when : whens_of(evidence, all).found) conditions.push_back(when.condition);
  return conditions;
}

}  // namespace

TEST_CASE("level changes of characters are those of the line, from idle to the end of the stop bit") {
  // By hand, start bit, eight bits from the lowest on, stop bit: 0 00000000 1, 0 11111111 1, 0 10101010 1, 0
  // 01010101 1.
  CHECK(level_changes(std::vector<std::uint8_t>{0x00}) == 2);
  CHECK(level_changes(std::vector<std::uint8_t>{0xff}) == 2);
  CHECK(level_changes(std::vector<std::uint8_t>{0x55}) == 10);
  CHECK(level_changes(std::vector<std::uint8_t>{0xaa}) == 8);
  CHECK(level_changes(std::vector<std::uint8_t>{0x55, 0x00}) == 12);
}

TEST_CASE("failures that go with what a node says are seen to, on a wire; others are not") {
  CHECK(found(talk(20, 200, Symptom::framing)) == std::vector{Condition::payload});
  CHECK(found(talk(60, 60, Symptom::framing)).empty());
  // A node that does not answer while it has something to say: that is its state, and no frame was on a wire.
  CHECK(found(talk(20, 200, Symptom::none)).empty());
}
