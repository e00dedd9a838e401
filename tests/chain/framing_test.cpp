// Chains on other framings than the shipped descriptions': a boundary that is hit joins two frames.
#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

/// bench-frame's fields, but octets stuffed and flags between frames, with or without one in front.
SmallChain stuffed(FramingKind kind, bool leading_boundary) {
  SmallChain small = small_chain(Shape::ring, 1, "readings");
  small.bus.name = "stuffed";
  small.bus.framing = {};
  small.bus.framing.kind = kind;
  small.bus.framing.leading_boundary = leading_boundary;
  small.bus.framing.max_bytes = 30;  // one answer fits (12 + 4 + 2 * 4), two frames do not
  small.bus.roles.size.clear();
  return small;
}

}  // namespace

TEST_CASE("without a boundary in front, a boundary hit costs two frames; with one, it costs one") {
  const FramingKind kind = GENERATE(FramingKind::cobs, FramingKind::hdlc, FramingKind::slip);
  std::size_t too_long[2] = {0, 0};
  std::size_t failed[2] = {0, 0};
  for (const bool leading : {false, true}) {
    for (std::uint64_t seed = 1; seed <= 300; ++seed) {
      SmallChain small = stuffed(kind, leading);
      small.seed = seed;
      FaultSpec& hit = small.fault(FaultClass::corruption);
      hit.links = {1};
      hit.at_most = 1;
      const Collector kept = small.run(3);
      failed[leading ? 1 : 0] += 3 - kept.count(Outcome::answered);
      for (const KeptExchange& each : kept.exchanges) {
        for (const HopRow& row : each.rows) too_long[leading ? 1 : 0] += row.symptom == Symptom::too_long ? 1U : 0U;
      }
      CHECK(exchange_number(kept, 2).seen.outcome == Outcome::answered);
    }
  }
  CHECK(failed[1] == 300);  // only the exchange that was hit
  CHECK(failed[0] > 305);   // and now and then the one after it
  CHECK(too_long[0] > 5);
}

}  // namespace hopbench
