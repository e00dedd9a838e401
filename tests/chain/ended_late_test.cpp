// Frames of which the last character ends late: a receiver whose clock is slow has its last vote after the sender
// ended.
#include "support/buses.h"
#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

/// Every node and the controller hear with a clock that is slow by so much; what they hear is sent by one that is not.
SmallChain slow_ears(std::int64_t error_ppb) {
  SmallChain small = small_chain(Shape::ring, 1, "cell");
  small.bus = buses::old_style();
  small.bus.line.baud = 100'000;
  small.poll_only(0, "cell", {{"cell", 0}});
  small.kind().clock.error_ppb = error_ppb;
  return small;
}

std::size_t undetected(const Collector& kept) {
  std::size_t count = 0;
  for (const KeptExchange& each : kept.exchanges) {
    for (const RowTruth& truth : each.row_truths) {
      if (!truth.undetected) continue;
      ++count;
      CHECK(each.rows.at(truth.row).symptom == Symptom::none);
    }
  }
  return count;
}

}  // namespace

TEST_CASE("a good frame whose last character ends late is no undetected error", "[ended_late]") {
  for (const std::int64_t error : {-30'000'000, -20'000'000, 20'000'000, 30'000'000}) {
    for (const Way way : {Way::events, Way::every_byte}) {
      SmallChain small = slow_ears(error);
      small.way = way;
      const Collector kept = small.run(50);
      CHECK(kept.count(Outcome::answered) == 50);
      CHECK(undetected(kept) == 0);
    }
  }
}

TEST_CASE("a changed frame that passes its check is an undetected error, however late its last character ends",
          "[ended_late]") {
  // An 8-bit sum misses about one in 256 frames of which several bits were changed; here most are.
  for (const std::int64_t error : {0, -30'000'000}) {
    SmallChain small = slow_ears(error);
    for (LinkSpec& link : small.chain.links) link.bit_error = certain / 20;
    const Collector kept = small.run(4000);
    INFO("clock off by " << error << " ppb");
    CHECK(undetected(kept) > 3);
    CHECK(undetected(kept) < 80);
  }
}

}  // namespace hopbench
