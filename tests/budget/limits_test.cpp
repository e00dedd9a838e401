// Buffers, time-outs and sizes of chains at their limits, each held against a run.
#include <algorithm>
#include <cmath>

#include "budget/budget.h"
#include "scenario/link_table.h"
#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

Budget budget_of_small(const SmallChain& made, const BudgetWish& wish = {}) {
  const Protocol protocol(made.bus);
  return budget_of(protocol, made.chain, wish);
}

bool all_answered(const Collector& kept) { return kept.count(Outcome::answered) == kept.exchanges.size(); }

}  // namespace

TEST_CASE("the longest frame fits a buffer of its length, and one a byte shorter loses it") {
  const Shape shape = GENERATE(Shape::ring, Shape::line);
  SmallChain made = small_chain(shape, 4, "readings");
  made.kind().buffer_bytes = 1;
  std::size_t longest = 0;
  for (const RoomBudget& each : budget_of_small(made).rooms) longest = std::max(longest, each.longest);
  // bench-frame: 12 bytes, first, count, age, 2 for each of 4 cells.
  CHECK(longest == 24);
  made.kind().buffer_bytes = static_cast<std::uint32_t>(longest);
  CHECK(budget_of_small(made).works());
  CHECK(all_answered(made.run(8)));
  --made.kind().buffer_bytes;
  const Budget short_of = budget_of_small(made);
  CHECK_FALSE(short_of.works());
  CHECK(short_of.without_room() > 0);
  CHECK_FALSE(all_answered(made.run(8)));
}

TEST_CASE("a time-out of just the longest exchange is met, and one a nanosecond shorter is not") {
  SmallChain made = small_chain(GENERATE(Shape::ring, Shape::line), 4, "readings");
  Nanos longest = 0;
  for (const EntryBudget& each : budget_of_small(made).entries) longest = std::max(longest, each.answered.worst());
  made.controller().time_out = longest;
  CHECK(budget_of_small(made).late_at_best() == 0);
  CHECK(all_answered(made.run(8)));
  --made.controller().time_out;
  CHECK(budget_of_small(made).late_at_best() > 0);
  CHECK_FALSE(budget_of_small(made).works());
  CHECK_FALSE(all_answered(made.run(8)));
}

TEST_CASE("the largest chain for a round meets it, and one with a node more does not") {
  const Shape shape = GENERATE(Shape::ring, Shape::line);
  const auto chain_of = [&](std::size_t nodes) {
    SmallChain made = small_chain(shape, nodes, "readings");
    made.controller().pace = 0;
    made.controller().gap = millisecond;
    made.controller().time_out = second;
    return made;
  };
  const Nanos wanted = GENERATE(50, 400, 2'000) * millisecond;
  const Budget budget = budget_of_small(chain_of(3), {wanted, std::nullopt});
  REQUIRE(budget.largest.size() == 1);
  const LargestChain::Most most = budget.largest.front().worst;
  CHECK(most.nodes == budget.largest.front().typical.nodes);  // nothing is left to chance here
  CHECK(most.limit == ChainLimit::round);
  REQUIRE(most.nodes > 0);
  const auto round = [&](std::size_t nodes) {
    const SmallChain made = chain_of(nodes);
    const Collector kept = made.run(nodes + 1);
    return kept.exchanges.at(nodes).seen.start - kept.exchanges.front().seen.start;
  };
  CHECK(round(most.nodes) <= wanted);
  CHECK(round(most.nodes + 1) > wanted);
}

TEST_CASE("no chain is called large enough whose answers are late, or for which the bus has no addresses") {
  const Shape shape = GENERATE(Shape::ring, Shape::line);
  const auto chain_of = [&](std::size_t nodes) { return small_chain(shape, nodes, "readings"); };
  const LargestChain::Most most = budget_of_small(chain_of(3), {3'600 * second, std::nullopt}).largest.at(0).worst;
  CHECK(most.limit == ChainLimit::time_out);
  CHECK(all_answered(chain_of(most.nodes).run(most.nodes)));
  CHECK_FALSE(all_answered(chain_of(most.nodes + 1).run(most.nodes + 1)));
  SmallChain patient = chain_of(3);
  patient.controller().time_out = 60 * second;
  const LargestChain::Most all = budget_of_small(patient, {86'400 * second, std::nullopt}).largest.at(0).worst;
  CHECK(all.limit == ChainLimit::nodes);
  CHECK(all.nodes == 250);  // docs/scenario.md
  SmallChain modbus = modbus_chain(3);
  modbus.controller().time_out = 60 * second;
  // MODBUS over serial line V1.02, 2.2 (from memory): 1 to 247 are single devices, 248 to 255 are reserved. Here for
  // everyone.
  for (std::uint64_t reserved = 248; reserved < 256; ++reserved) modbus.bus.roles.broadcast.push_back(reserved);
  const LargestChain::Most addressed = budget_of_small(modbus, {86'400 * second, std::nullopt}).largest.at(0).worst;
  CHECK(addressed.limit == ChainLimit::addresses);
  CHECK(addressed.nodes == 247);
}

TEST_CASE("damage that nodes pass on is checked once, with the errors of all its hops") {
  SmallChain made = small_chain(Shape::ring, 3, "nameplate");
  made.poll_only(0, "nameplate");
  const double p = 1e-5;
  const Protocol protocol(made.bus);
  const auto a_year = [&] { return budget_of_small(made, {std::nullopt, p}).checks; };
  const BusChecks apart = a_year();
  made.kind().on_bad_check = OnBadCheck::pass_on;
  const BusChecks passed_on = a_year();
  const ExchangeFrames frames = budget_of_small(made).entries.front().frames;
  const CheckBudget checks(made.bus);
  // One hop out and three home, as often as the pace of 400 ms allows.
  const double exchanges = 365.25 * 86'400 / 0.4;
  CHECK(apart.frames_a_year == Approx(4 * exchanges));
  const double ask = checks.unnoticed(frames.ask_payload, p);
  CHECK(apart.unnoticed_a_year.value() == Approx(exchanges * (ask + 3 * checks.unnoticed(frames.answer_payload, p))));
  CHECK(passed_on.unnoticed_a_year.value() ==
        Approx(exchanges * (ask + checks.unnoticed(frames.answer_payload, 3 * p))));
  CHECK(*passed_on.unnoticed_a_year > *apart.unnoticed_a_year);
}

TEST_CASE("neighbours are in pairs across nodes that pass edges, and a slow one is out of tolerance") {
  SmallChain made = small_chain(Shape::ring, 3, "readings");
  CHECK(budget_of_small(made).pairs.size() == 4);
  made.kind().forwarding.kind = Forwarding::electrical;
  // Each station's edges reach all behind it: 4 receivers hear the controller, 3 the first node, and so on.
  CHECK(budget_of_small(made).pairs.size() == 4 + 3 + 2 + 1);
  made.chain.nodes[1].clock = ClockSpec{};
  made.chain.nodes[1].clock->error_ppb = -60'000'000;
  const Budget budget = budget_of_small(made);
  // It hears the controller and the first node, and is heard by the last one and the controller.
  CHECK(budget.out_of_tolerance() == 4);
  CHECK_FALSE(budget.works());
  CHECK_FALSE(all_answered(made.run(6)));
}

TEST_CASE("trim and heat widen what clocks can be apart") {
  SmallChain made = small_chain(Shape::ring, 2, "readings");
  made.kind().clock.spread_ppb = 10'000'000;
  const Budget trimmed = budget_of_small(made);
  // 1 % fast against 1 % slow: 1.01 / 0.99.
  double most = 0;
  for (const ClockPair& pair : trimmed.pairs) most = std::max(most, std::abs(pair.apart_ppm));
  CHECK(most == Approx(20'202).epsilon(0.001));
  made.kind().clock.spread_ppb = 0;
  made.kind().board.clock_ppb_per_k = -100'000;
  made.chain.pack.air.swing_mc = 20'000;
  // 25 degrees is where the clock is right; 20 K either way is 0.2 % either way.
  most = 0;
  for (const ClockPair& pair : budget_of_small(made).pairs) most = std::max(most, std::abs(pair.apart_ppm));
  CHECK(most == Approx(4'008).epsilon(0.005));
}

}  // namespace hopbench
