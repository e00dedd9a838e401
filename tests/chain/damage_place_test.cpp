// Where in its frame a damaged frame is damaged, and what was replied where no answer came well.
#include <algorithm>
#include <map>
#include <set>

#include "bus/protocol.h"
#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

constexpr std::uint32_t slots = 10;  // a character 8N1: start bit, eight bits from the lowest on, stop bit

SmallChain spoiled(Shape shape) {
  SmallChain small = small_chain(shape, 4, "readings");
  small.poll_only(3, "readings", {{"first", 0}, {"count", 1}});
  FaultSpec& fault = small.fault(FaultClass::corruption);
  fault.rate = certain / 10 * 3;
  return small;
}

}  // namespace

TEST_CASE("the place of the damage is where the first bit was turned over", "[damage]") {
  const Shape shape = GENERATE(Shape::ring, Shape::line);
  SmallChain small = spoiled(shape);
  std::set<std::uint16_t> places;
  std::string first;
  for (const Way way : {Way::events, Way::every_byte, Way::repeats}) {
    small.way = way;
    const Collector kept = small.run(400);
    std::size_t compared = 0;
    std::string all;
    for (const KeptExchange& each : kept.exchanges) {
      all += describe(each);
      for (const RowDamage& damage : each.damage) {
        REQUIRE(damage.row < each.rows.size());
        CHECK(each.rows[damage.row].damaged_here());
        const auto truth = std::find_if(each.row_truths.begin(), each.row_truths.end(),
                                        [&](const RowTruth& one) { return one.row == damage.row; });
        REQUIRE(truth != each.row_truths.end());
        if (truth->bit == 0xffffffff || truth->bit % slots == 0) continue;  // a start bit moves what is heard after it
        INFO(describe(each));
        CHECK(damage.at == truth->bit / slots + 1);
        if (truth->bit % slots <= 8) CHECK((damage.bits >> (truth->bit % slots - 1) & 1U) != 0);
        places.insert(damage.at);
        ++compared;
      }
    }
    CHECK(compared > 40);
    if (first.empty()) first = all;
    CHECK(all == first);
  }
  CHECK(places.size() > 8);
}

TEST_CASE("a reply that died on its way is known as it was on its first hop", "[damage]") {
  const Shape shape = GENERATE(Shape::ring, Shape::line);
  SmallChain small = spoiled(shape);
  small.poll_only(1, "readings", {{"first", 0}, {"count", 1}});
  const Protocol protocol(small.bus);
  std::size_t known = 0;
  for (const KeptExchange& each : small.run(400).exchanges) {
    INFO(describe(each));
    const auto heard =
        std::find_if(each.rows.begin(), each.rows.end(), [](const HopRow& row) { return row.answering; });
    const bool lost = never_came_well(each.seen.outcome);
    const bool well = lost && heard != each.rows.end() && heard->heard_well();
    REQUIRE(each.replied.empty() == !well);
    if (!well) continue;
    ++known;
    Frame ask;
    Frame reply;
    REQUIRE(protocol.parse(each.asked, ask) == Damage::none);
    REQUIRE(protocol.parse(each.replied, reply) == Damage::none);
    CHECK(protocol.exchange(reply) == protocol.exchange(ask));
    CHECK(protocol.source(reply) == small.chain.nodes[1].address);
  }
  CHECK(known > 20);
}

}  // namespace hopbench
