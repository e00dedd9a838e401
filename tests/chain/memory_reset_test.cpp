// Two faults of nodes: memory that damages what is passed on, and restarts.
#include <set>

#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

/// A ring of four nodes without addresses; the controller offers each its own at the start.
SmallChain enrolling(bool keeps, std::uint32_t again_after) {
  SmallChain small = small_chain(Shape::ring, 4);
  small.kind().enrols = true;
  small.kind().keeps_address = keeps;
  small.kind().start_up = 900 * millisecond;
  small.controller().enrol.at_start = true;
  small.controller().enrol.again_after = again_after;
  return small;
}

std::size_t enrolments(const Collector& kept) {
  std::size_t n = 0;
  for (const KeptExchange& each : kept.exchanges) n += entry_name(kept, each).rfind("enrol/", 0) == 0 ? 1U : 0U;
  return n;
}

}  // namespace

TEST_CASE("damage in a node's memory is found by the end-to-end check, never accepted") {
  const std::uint32_t bits = GENERATE(1U, 2U, 3U);
  SmallChain small = small_chain(Shape::ring, 5, "readings");
  small.kind().on_bad_check = GENERATE(OnBadCheck::drop, OnBadCheck::pass_on);
  FaultSpec& fault = small.fault(FaultClass::memory);
  fault.nodes = {2};
  fault.bits = bits;
  fault.rate = certain / 2;
  const Collector kept = small.run(1'000);
  std::size_t struck = 0;
  for (const KeptExchange& each : kept.exchanges) {
    if (each.seen.node == 2) {  // it answers itself, and passes nothing on
      CHECK(each.seen.outcome == Outcome::answered);
      continue;
    }
    if (each.seen.outcome == Outcome::answered) continue;
    ++struck;
    // Two of three bits may fall on one another; what is accepted must be what was sent.
    CHECK(each.seen.outcome != Outcome::wrong);
    CHECK(each.seen.outcome != Outcome::stale);
    CHECK(why(each).cause == Cause::injected_memory);
    CHECK(why(each).station == 2);
    // Bad from the moment it is put on the next link, and found there.
    bool inherited = false;
    for (const HopRow& row : each.rows) {
      if (row.link == 3 && row.inherited) inherited = row.symptom != Symptom::none;
    }
    CHECK(inherited);
  }
  CHECK(struck > 250);
  CHECK(kept.count(Outcome::wrong) == 0);
  for (const KeptExchange& each : kept.exchanges) {
    for (const RowTruth& truth : each.row_truths) CHECK_FALSE(truth.undetected);
  }
}

TEST_CASE("neither way of repairing the check hides memory damage") {
  SmallChain small = small_chain(Shape::ring, 3, "readings");
  small.poll_only(0, "readings", {{"first", 0}, {"count", 4}});
  small.fault(FaultClass::memory).nodes = {1};
  small.bus.forward.repair = GENERATE(CheckRepair::by_difference, CheckRepair::if_good);
  CHECK(small.run(20).count(Outcome::answered) == 0);
}

TEST_CASE("a node in reset is silent for its start-up, and cuts the ring") {
  SmallChain small = small_chain(Shape::ring, 4);
  small.kind().start_up = 900 * millisecond;
  FaultSpec& reset = small.fault(FaultClass::reset);
  reset.nodes = {1};
  reset.at = {2 * second + 1};
  const Collector kept = small.run(12);
  for (const KeptExchange& each : kept.exchanges) {
    // Exchanges every 400 ms: those at 2.0, 2.4 and 2.8 s meet it.
    const bool inside = each.seen.number >= 5 && each.seen.number <= 7;
    CHECK(each.seen.outcome == (inside ? Outcome::lost : Outcome::answered));
    if (!inside) continue;
    CHECK((why(each).cause == Cause::node_off || why(each).cause == Cause::injected_reset));
  }
}

TEST_CASE("a reset in the middle of an answer cuts it off") {
  SmallChain small = small_chain(Shape::ring, 2);
  small.kind().answer_after = 500 * microsecond;
  FaultSpec& reset = small.fault(FaultClass::reset);
  reset.nodes = {0};
  reset.at = {1'200 * microsecond + 500 * microsecond + 900 * microsecond};  // half of the answer is out
  const Collector kept = small.run(2);
  const KeptExchange& cut = exchange_number(kept, 0);
  CHECK(cut.seen.outcome == Outcome::lost);
  CHECK(why(cut).cause == Cause::injected_reset);
  CHECK(cut.rows[1].link == 1);
  CHECK(cut.rows[1].symptom == Symptom::too_short);
  CHECK(exchange_number(kept, 1).seen.outcome == Outcome::answered);
}

TEST_CASE("nodes enrol in chain order, each with its own address") {
  const SmallChain small = enrolling(false, 0);
  const Collector kept = small.run(12);
  CHECK(kept.count(Outcome::answered) == 12);
  CHECK(enrolments(kept) == 4);
  for (std::uint64_t i = 0; i < 4; ++i) {
    const KeptExchange& each = exchange_number(kept, i);
    CHECK(entry_name(kept, each) == "enrol/n" + std::to_string(i + 1));
    // bench-frame: byte 3 says to, byte 4 from; 254 is the first node without an address.
    REQUIRE(each.answered.size() > 4);
    CHECK(each.asked[3] == 254);
    CHECK(each.answered[4] == i + 1);
  }
}

TEST_CASE("an address lost in a reset is offered again after so many unanswered polls") {
  SmallChain small = enrolling(false, 2);
  FaultSpec& reset = small.fault(FaultClass::reset);
  reset.nodes = {3};
  reset.at = {4 * second + 1};
  const Collector kept = small.run(40);
  CHECK(enrolments(kept) > 4);
  std::set<std::uint16_t> answered_at_the_end;
  for (const KeptExchange& each : kept.exchanges) {
    if (each.seen.number >= 36 && each.seen.outcome == Outcome::answered) answered_at_the_end.insert(each.seen.node);
  }
  CHECK(answered_at_the_end.size() == 4);
  // Between its start-up and its enrolment nobody has its address.
  std::size_t without_address = 0;
  for (const KeptExchange& each : kept.exchanges) {
    if (each.seen.outcome == Outcome::lost && each.seen.node == 3 && each.seen.start > 5 * second) {
      ++without_address;
      CHECK(why(each).cause == Cause::no_address);
    }
  }
  CHECK(without_address >= 1);
}

TEST_CASE("a node takes no address that nobody may have, and no second one") {
  SmallChain small = enrolling(false, 1);
  small.controller().enrol.at_start = false;
  const RolesSpec& roles = small.bus.roles;
  const std::uint64_t nobodys = GENERATE_COPY(roles.broadcast.front(), *roles.first_unenrolled, 0x100);
  PlanEntry poll = small.controller().plan.front();
  PlanEntry offer = poll;
  offer.name = "offer to everyone";
  offer.node = nobody;
  offer.topic = small.controller().enrol.topic;
  offer.arguments = {{small.controller().enrol.address_field, nobodys}};
  PlanEntry other = offer;
  other.name = "another address";
  other.node = 0;
  other.arguments.front().second = 77;
  small.controller().plan = {offer, poll, other};
  const Collector kept = small.run(40);
  std::size_t polled = 0;
  std::size_t offered = 0;
  for (const KeptExchange& each : kept.exchanges) {
    if (each.seen.turn == 0) continue;  // the first loses its way: the node has no address yet
    if (entry_name(kept, each) == poll.name) polled += each.seen.outcome == Outcome::answered ? 1U : 100U;
    if (entry_name(kept, each) == other.name) offered += each.seen.outcome == Outcome::refused ? 1U : 100U;
  }
  CHECK((polled > 5 && polled < 100));
  CHECK((offered > 5 && offered < 100));
}

TEST_CASE("a kept address needs no second enrolment") {
  SmallChain small = enrolling(true, 0);
  FaultSpec& reset = small.fault(FaultClass::reset);
  reset.nodes = {3};
  reset.at = {4 * second + 1};
  const Collector kept = small.run(40);
  CHECK(enrolments(kept) == 4);
  for (const KeptExchange& each : kept.exchanges) {
    if (each.seen.start > 5 * second) CHECK(each.seen.outcome == Outcome::answered);
  }
}

TEST_CASE("a reset forgets what was written") {
  SmallChain small = small_chain(Shape::ring, 1);
  small.kind().cells = 4;
  small.kind().board.bleed_mohm = 33'000;
  small.poll_only(0, "bleed", {{"cells", 5}});
  PlanEntry read = small.controller().plan.front();
  read.name = "read";
  read.topic = "conditions";
  read.arguments.clear();
  small.controller().plan.front().every = 1'000;  // written once
  small.controller().plan.push_back(read);
  FaultSpec& reset = small.fault(FaultClass::reset);
  reset.at = {1'700 * millisecond};
  const Collector kept = small.run(10);
  // conditions: board, supply, bleeding, 16 bits each.
  const auto bleeding = [&](std::uint64_t number) { return exchange_number(kept, number).answered.at(10 + 5); };
  CHECK(bleeding(1) == 5);
  CHECK(bleeding(4) == 5);
  CHECK(bleeding(5) == 0);
}

}  // namespace hopbench
