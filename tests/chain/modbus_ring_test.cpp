// A ring with fixed addresses and no hop fields: what becomes of an ask that nobody claims.
#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

/// Three nodes, of which the second has no address (its kind waits to be given one, which this bus cannot do).
SmallChain with_absentee(const std::string& topic) {
  SmallChain small = modbus_chain(3);
  small.chain.kinds.push_back(small.kind());
  small.chain.kinds.back().name = "absent";
  small.chain.kinds.back().enrols = true;
  small.chain.nodes[1].kind = 1;
  small.controller().enrol.at_start = false;
  if (topic == "write_single") {
    small.poll_only(1, topic, {{"first", 104}, {"value", 3}});
  } else {
    small.poll_only(1, topic, {{"first", 0}, {"count", 1}});
  }
  return small;
}

}  // namespace

TEST_CASE("an absent address times out where the last node stops what nobody claimed") {
  const SmallChain small = with_absentee("read_holding");
  REQUIRE(small.bus.forward.unclaimed == Unclaimed::last_node_stops_it);
  const Collector kept = small.run(3);
  CHECK(kept.count(Outcome::lost) == 3);
  for (const KeptExchange& each : kept.exchanges) {
    CHECK(why(each).cause == Cause::unclaimed);
    CHECK(why(each).station == 2);
    CHECK(each.rows.size() == 3);  // not put on the last link
    CHECK(each.seen.decided == each.attempts[0].ask_end + small.chain.controller.time_out);
  }
}

// Tried with a widely used client library on such a ring: a write to an absent node returns success.
TEST_CASE("where it comes round, a write to an absent node passes for answered, and is wrong") {
  SmallChain small = with_absentee("write_single");
  small.bus.forward.unclaimed = Unclaimed::returns;
  const Collector kept = small.run(3);
  CHECK(kept.count(Outcome::wrong) == 3);
  for (const KeptExchange& each : kept.exchanges) {
    CHECK(why(each).cause == Cause::unclaimed);
    CHECK(each.asked == each.answered);
    CHECK(each.rows.size() == 4);
    CHECK(each.seen.round_trip > 0);
  }
}

// The last node knows the addresses of its chain, and that this frame is as well the answer of a node that has one.
TEST_CASE("a write whose answer is the same bytes is not stopped where its node has lost its address") {
  const Collector kept = with_absentee("write_single").run(3);
  CHECK(kept.count(Outcome::wrong) == 3);
  for (const KeptExchange& each : kept.exchanges) CHECK(why(each).cause == Cause::unclaimed);
}

TEST_CASE("where it comes round, a read from an absent node is no answer") {
  SmallChain small = with_absentee("read_holding");
  small.bus.forward.unclaimed = Unclaimed::returns;
  const Collector kept = small.run(3);
  CHECK(kept.count(Outcome::lost) == 3);
  for (const KeptExchange& each : kept.exchanges) CHECK(why(each).cause == Cause::no_address);
}

TEST_CASE("present nodes are read and written, and keep what was written") {
  SmallChain small = modbus_chain(3);
  small.kind().cells = 2;
  small.kind().board.bleed_mohm = 33'000;
  PlanEntry write = small.controller().plan[1];
  write.name = "write";
  write.topic = "write_single";
  write.arguments = {{"first", 104}, {"value", 3}};
  PlanEntry read = small.controller().plan[1];
  read.name = "read";
  read.arguments = {{"first", 104}, {"count", 1}};
  small.controller().plan = {read, write, read};
  const Collector kept = small.run(3);
  REQUIRE(kept.count(Outcome::answered) == 3);
  // Address, function, bytes, value, CRC: MODBUS application protocol V1.1b3, 6.3 (layout from memory).
  const auto value = [&](std::uint64_t number) {
    const auto& answered = exchange_number(kept, number).answered;
    REQUIRE(answered.size() == 7);
    return answered[3] * 256 + answered[4];
  };
  CHECK(value(0) == 0);
  CHECK(value(2) == 3);
}

TEST_CASE("a register that is not there is refused") {
  SmallChain small = modbus_chain(2);
  small.poll_only(1, "read_holding", {{"first", 9'000}, {"count", 1}});
  const Collector kept = small.run(1);
  CHECK(kept.count(Outcome::refused) == 1);
  // Exception: function with its top bit set, code 2 illegal data address (MODBUS application protocol V1.1b3, 7; from
  // memory).
  REQUIRE(kept.exchanges[0].answered.size() == 5);
  CHECK(kept.exchanges[0].answered[1] == 0x83);
  CHECK(kept.exchanges[0].answered[2] == 2);
  CHECK(why(kept.exchanges[0]).cause == Cause::refused_by_node);
}

}  // namespace hopbench
