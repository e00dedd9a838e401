#include "study/sight.h"

#include "../measure/sample_run.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

struct Kept final : Observer {
  void begin(const RunInfo& info) override { run = info; }
  void exchange(const ExchangeObs& obs) override {
    rows.assign(obs.rows.begin(), obs.rows.end());
    attempts.assign(obs.attempts.begin(), obs.attempts.end());
    outcome = obs.outcome;
  }
  void state(const State& state) override {
    nodes.assign(state.nodes.begin(), state.nodes.end());
    cells = state.cells_balancing;
  }
  void stray(const Stray&) override {}
  void arrival(const Arrival&) override {}
  void tally(const Tally&) override {}
  void gap(const Gap&) override {}
  void dropped(const Dropped&) override {}
  void command(const Remark&) override {}
  void note(const Remark&) override {}
  void end(Nanos) override {}
  RunInfo run;
  std::vector<HopRow> rows;
  std::vector<Attempt> attempts;
  std::vector<NodeState> nodes;
  std::uint32_t cells = 0;
  Outcome outcome = Outcome::lost;
};

}  // namespace

TEST_CASE("from the controller nothing is seen of hops that do not lead to it") {
  Kept kept;
  AtController shut(kept);
  const auto run = sample::ring(4);
  shut.begin(run);
  CHECK(sight_of(run) == Sight::every_hop);
  CHECK(sight_of(kept.run) == Sight::controller_only);
  auto exchange = sample::clean_exchange(run, 1, 5 * second);
  auto obs = exchange.fixed;
  obs.rows = exchange.rows;
  obs.attempts = exchange.attempts;
  exchange.rows.back().inherited = true;
  exchange.rows.back().symptom = Symptom::check;
  shut.exchange(obs);
  REQUIRE(kept.rows.size() == 1);
  CHECK(kept.rows.front().link == 4);
  CHECK_FALSE(kept.rows.front().inherited);
  CHECK(kept.rows.front().symptom == Symptom::check);
  CHECK(kept.rows.front().start == kept.rows.front().end);
  exchange.rows.back().symptom = Symptom::nothing;
  shut.exchange(obs);
  CHECK(kept.rows.empty());
}

TEST_CASE("a controller cannot tell a stale or wrong value from a good one") {
  Kept kept;
  AtController shut(kept);
  const auto run = sample::ring(2);
  shut.begin(run);
  for (const auto outcome : {Outcome::stale, Outcome::wrong}) {
    const Attempt attempt{0, 1, outcome};
    ExchangeObs obs;
    obs.outcome = outcome;
    obs.attempts = {&attempt, 1};
    shut.exchange(obs);
    CHECK(kept.outcome == Outcome::answered);
    CHECK(kept.attempts.front().outcome == Outcome::answered);
  }
}

TEST_CASE("of the boards a controller knows what they tell, not what their clocks do") {
  Kept kept;
  AtController shut(kept);
  shut.begin(sample::ring(1));
  const NodeState node{31'000, 3300, 12'345, 1};
  State state;
  state.cells_balancing = 7;
  state.nodes = {&node, 1};
  shut.state(state);
  CHECK(kept.cells == 7);
  REQUIRE(kept.nodes.size() == 1);
  CHECK(kept.nodes[0].board_mc == 31'000);
  CHECK(kept.nodes[0].clock_ppb == 0);
  CHECK(kept.nodes[0].flags == 0);
}
