// Rules that no other test held a node or controller to: tests/mutants broke them, and nothing told.
#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench {

TEST_CASE("garbled at first, then lost, an exchange is garbled") {
  SmallChain small = small_chain(Shape::ring, 2);
  small.controller().retries = 1;
  FaultSpec& flips = small.fault(FaultClass::corruption, "flips");
  flips.leg = LegFilter::answers;
  flips.links = {2};
  flips.to = 50 * millisecond;
  small.fault(FaultClass::loss, "loses").from = 50 * millisecond;
  const Collector kept = small.run(1);
  REQUIRE(kept.exchanges.front().attempts.size() == 2);
  CHECK(kept.exchanges.front().attempts[0].outcome == Outcome::garbled);
  CHECK(kept.exchanges.front().attempts[1].outcome == Outcome::lost);
  CHECK(kept.exchanges.front().seen.outcome == Outcome::garbled);
}

TEST_CASE("edges of a damaged frame are damaged before they come to the next hop") {
  SmallChain small = small_chain(Shape::ring, 3);
  small.bus.forward.rewrite.clear();
  small.bus.roles.passes_left.clear();
  small.kind().forwarding.kind = Forwarding::electrical;
  small.poll_only(2, "nameplate");
  FaultSpec& flips = small.fault(FaultClass::corruption);
  flips.leg = LegFilter::asks;
  flips.links = {0};
  const Collector kept = small.run(1);
  for (const HopRow& row : kept.exchanges.front().rows) {
    INFO("link " << row.link);
    CHECK(row.inherited == (row.link > 0));
  }
}

TEST_CASE("a low limit above the high one is refused, and nothing is taken up") {
  SmallChain small = small_chain(Shape::ring, 1);
  small.poll_only(0, "limits", {{"low", 3'700}, {"high", 3'600}});
  CHECK(small.run(1).exchanges.front().seen.outcome == Outcome::refused);
}

TEST_CASE("a controller that ignores late answers asks again although one has come") {
  SmallChain small = small_chain(Shape::ring, 1);
  small.kind().answer_after = 8 * millisecond;
  small.controller().time_out = 5 * millisecond;
  small.controller().retries = 1;
  small.controller().back_off.first = 50 * millisecond;
  small.controller().on_late = OnLate::ignore;
  CHECK(small.run(1).exchanges.front().attempts.size() == 2);
}

}  // namespace hopbench
