#include "study/observed.h"

#include <array>
#include <type_traits>

#include "study/evidence_fold.h"
#include "study/tallies.h"
#include "support/catch.h"

using namespace hopbench;

namespace {
struct Counting final : Observer {
  void begin(const RunInfo&) override {}
  void stray(const Stray&) override {}
  void arrival(const Arrival&) override {}
  void tally(const Tally&) override {}
  void conditions(const ConditionValues&) override {}
  void gap(const Gap&) override {}
  void dropped(const Dropped&) override {}
  void command(const Remark&) override {}
  void note(const Remark&) override {}
  void exchange(const ExchangeObs& obs) override {
    last = obs.number;
    doubtful = obs.doubtful;
  }
  void end(Nanos at) override { until = at; }
  std::uint64_t last = 0;
  bool doubtful = false;
  Nanos until = 0;
};
}  // namespace

TEST_CASE("an observer is told of exchanges, and has no way to ask why") {
  Counting counting;
  Observed door(counting);
  ExchangeObs obs;
  obs.number = 7;
  const ExchangeTruth truth{};
  door.exchange(obs, &truth);
  door.end(5, {});
  CHECK(counting.last == 7);
  CHECK(counting.until == 5);
  STATIC_REQUIRE(
      !std::is_invocable_v<decltype(&Observer::exchange), Observer&, const ExchangeObs&, const ExchangeTruth*>);
}

TEST_CASE("with a late computer failures of the chain's own count as readily as successes") {
  RunInfo run;
  run.time_out = 100 * millisecond;
  run.nodes = {"a"};
  run.cells = {1};
  run.links = {{1, "controller", "a"}, {2, "a", "controller", true}};
  run.entries = {{"cells/a", "a", "readings", 0, 1}};
  EvidenceFold evidence;
  TallyFold tallies;
  Observed why(evidence);
  Observed whether(tallies);
  for (Sink* each : {static_cast<Sink*>(&why), static_cast<Sink*>(&whether)}) {
    each->begin(run);
    // One in four lost on a hop, and late was the computer in all: by so little that no answer was too late for it. One
    // in ten was answered by nobody for no reason of the chain's own.
    for (std::uint64_t i = 0; i < 400; ++i) {
      const bool lost = i % 4 == 0;
      const bool nobody_knows = i % 10 == 1;
      const Nanos at = static_cast<Nanos>(i) * second;
      const Outcome outcome = lost || nobody_knows ? Outcome::lost : Outcome::answered;
      const std::array<Attempt, 1> attempts{Attempt{at, at + millisecond, outcome}};
      const std::array<AttemptTruth, 1> causes{AttemptTruth{lost ? Cause::injected_loss : Cause::none}};
      ExchangeObs obs;
      obs.number = i;
      obs.node = 0;
      obs.start = at;
      obs.decided = obs.closed = at + 100 * millisecond;
      obs.round_trip = outcome == Outcome::answered ? 20 * millisecond : -1;
      obs.outcome = outcome;
      obs.attempts = attempts;
      obs.port_late = 30 * millisecond;
      obs.doubtful = true;
      const ExchangeTruth truth{{}, causes, {}};
      each->exchange(obs, &truth);
    }
    each->end(400 * second, {});
  }
  CHECK(evidence.evidence().doubtful == 40);
  CHECK(evidence.evidence().exchanges == 360);
  CHECK(evidence.evidence().exchanges_failed == 100);
  CHECK(tallies.tallies().doubtful == 40);
  CHECK(tallies.tallies().all.exchanges.trials == 360);
  CHECK(tallies.tallies().all.exchanges.hits == 100);
}

TEST_CASE("where nobody knows why, what a late computer may have decided stays doubtful") {
  Counting counting;
  Observed door(counting);
  ExchangeObs obs;
  obs.number = 9;
  obs.doubtful = true;
  door.exchange(obs, nullptr);
  CHECK(counting.doubtful);
}
