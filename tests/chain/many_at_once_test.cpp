// A run comes to an end even where a scenario asks for more than a chain can do: at one instant, or on its way at one
// time. (No bus allowed lets a chain go round without time passing: a bit takes 50 ns at least, and every round puts a
// frame on a wire.)
#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

SmallChain with_resets_at_once(std::size_t resets) {
  SmallChain small = small_chain(Shape::ring, 2);
  small.fault(FaultClass::reset).at.assign(resets, 1'700 * millisecond);
  small.chain.faults.back().nodes = {1};
  return small;
}

}  // namespace

TEST_CASE("far too many events at one instant end the run, and what was closed by then is kept") {
  const bool by_time = GENERATE(true, false);
  const SmallChain small = with_resets_at_once(1'000'000);
  const Protocol protocol(small.bus);
  Collector kept;
  Chain chain(protocol, small.chain, small.seed, Way::events, Seat::simulated, kept);
  const bool came_to_its_end = by_time ? chain.run_until(10 * second) : chain.run_exchanges(20);
  CHECK_FALSE(came_to_its_end);
  CHECK(chain.now() == 1'700 * millisecond);
  CHECK_FALSE(chain.run_until(10 * second));  // nor does asking again help
  CHECK(chain.now() == 1'700 * millisecond);
  chain.finish({});
  CHECK(kept.count(Outcome::answered) == 5);  // begun at 0, 0.4, 0.8, 1.2 and 1.6 s
  CHECK(kept.exchanges.size() == 5);
}

TEST_CASE("a thousand events at one instant are none too many") {
  const Collector kept = with_resets_at_once(1'000).run(20);
  CHECK(kept.count(Outcome::answered) == 20);
}

TEST_CASE("more on its way than any chain holds ends the run, wherever it piles up") {
  SmallChain small = small_chain(Shape::ring, 3, "readings");
  small.poll_only(2, "readings", {{"first", 0}, {"count", 4}});
  small.controller().pace = 0;
  small.controller().time_out = microsecond;
  small.controller().late_window = GENERATE(Nanos{0}, millisecond);
  // In front of a link that has twice the frames to carry; in the air, held back for ever; in a node that measures for
  // longer than it is left alone.
  const int place = GENERATE(0, 1, 2);
  if (place == 0) small.fault(FaultClass::repetition).links = {1};
  if (place == 1) small.fault(FaultClass::delay).by = 1'000'000 * second;
  if (place == 2) small.kind().measurement.settle = 10 * second;
  const Protocol protocol(small.bus);
  Collector kept;
  Chain chain(protocol, small.chain, small.seed, Way::events, Seat::simulated, kept);
  const bool came_to_its_end = chain.run_until(1'000 * second);
  CHECK_FALSE(came_to_its_end);
  CHECK(chain.now() > second);
  CHECK(chain.now() < 1'000 * second);
  CHECK_FALSE(chain.run_exchanges(1'000'000));
  chain.finish({});
  CHECK(kept.exchanges.size() > 10'000);
}

}  // namespace hopbench
