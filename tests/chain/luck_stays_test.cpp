// What is taken out of a scenario takes its own hits along and moves nobody else's.
#include <map>
#include <tuple>

#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

/// A frame on a link, by names: link, plan entry, turn, try, way.
using Name = std::tuple<std::string, std::string, std::uint64_t, int, bool>;

/// First bit hit by noise of each frame that was on the wire; -1: none.
std::map<Name, std::int64_t> hits_of(const Collector& kept) {
  std::map<Name, std::int64_t> hits;
  for (const KeptExchange& e : kept.exchanges) {
    for (std::size_t i = 0; i < e.rows.size(); ++i) {
      const HopRow& row = e.rows[i];
      if (row.copy != 0 || row.inherited) continue;
      std::int64_t bit = -1;
      for (const RowTruth& truth : e.row_truths) {
        if (truth.row == i && truth.cause == Cause::bit_noise) bit = truth.bit;
      }
      const LinkInfo& link = kept.info.links[row.link];
      hits[{(link.homeward ? "homeward " : "") + link.to, entry_name(kept, e), e.seen.turn, row.attempt,
            row.answering}] = bit;
    }
  }
  return hits;
}

struct Compared {
  std::size_t frames = 0;
  std::size_t hits = 0;
};

/// Frames that were on the wire in both runs were hit at the same bit in both, or in neither.
Compared require_same_hits(const Collector& a, const Collector& b) {
  const auto hits_a = hits_of(a);
  const auto hits_b = hits_of(b);
  Compared compared;
  for (const auto& [name, bit] : hits_a) {
    const auto other = hits_b.find(name);
    if (other == hits_b.end()) continue;
    ++compared.frames;
    if (bit >= 0) ++compared.hits;
    INFO("into " << std::get<0>(name) << " " << std::get<1>(name) << " turn " << std::get<2>(name));
    REQUIRE(other->second == bit);
  }
  return compared;
}

SmallChain noisy(std::size_t nodes) {
  SmallChain small = small_chain(Shape::ring, nodes);
  for (LinkSpec& link : small.chain.links) link.bit_error = 300'000'000'000;
  small.controller().retries = 1;
  return small;
}

}  // namespace

TEST_CASE("a node taken out leaves the noise of all others where it was") {
  const SmallChain six = noisy(6);
  SmallChain five = six;
  five.chain.nodes.erase(five.chain.nodes.begin() + 2);
  five.chain.links.erase(five.chain.links.begin() + 2);
  five.controller().plan.erase(five.controller().plan.begin() + 2);
  for (std::size_t i = 2; i < 5; ++i) five.controller().plan[i].node = static_cast<std::uint16_t>(i);
  const Compared compared = require_same_hits(six.run(3'000), five.run(2'500));
  CHECK(compared.frames > 10'000);
  CHECK(compared.hits > 300);
}

TEST_CASE("noise taken off one hop leaves that of the others") {
  const SmallChain all = noisy(5);
  SmallChain less = all;
  less.chain.links[2].bit_error = 0;
  const Collector with = all.run(2'000);
  const Collector without = less.run(2'000);
  const auto hits = hits_of(with);
  std::size_t gone = 0;
  for (const auto& [name, bit] : hits_of(without)) {
    const auto other = hits.find(name);
    if (other == hits.end()) continue;
    if (std::get<0>(name) == "n3") {
      REQUIRE(bit == -1);
      gone += other->second >= 0 ? 1U : 0U;
    } else {
      REQUIRE(other->second == bit);
    }
  }
  CHECK(gone > 30);
}

TEST_CASE("an open cable taken out leaves exchanges before and after it as they were") {
  SmallChain cut = noisy(4);
  SmallChain whole = cut;
  cut.chain.links[1].opens = {{20 * second, 60 * second, true}};
  const Collector with = cut.run(400);
  const Collector without = whole.run(400);
  std::size_t outside = 0;
  std::size_t failed_inside = 0;
  for (std::uint64_t i = 0; i < 400; ++i) {
    const KeptExchange& a = exchange_number(with, i);
    const KeptExchange& b = exchange_number(without, i);
    if (a.seen.start >= 20 * second - second && a.seen.start < 60 * second + second) {
      if (a.seen.outcome != b.seen.outcome) ++failed_inside;
      continue;
    }
    REQUIRE(describe(a) == describe(b));
    ++outside;
  }
  CHECK(outside > 280);
  CHECK(failed_inside > 90);
  require_same_hits(with, without);
}

TEST_CASE("a contact, a burst or a fault added changes no noise") {
  const SmallChain plain = noisy(4);
  SmallChain more = plain;
  more.chain.links[0].contact = {5 * second, 50 * millisecond, true};
  more.chain.links[3].burst = {5 * second, 50 * millisecond, certain / 10};
  FaultSpec& fault = more.fault(FaultClass::corruption);
  fault.rate = certain / 30;
  fault.links = {2};
  const Collector with = more.run(2'000);
  const Collector without = plain.run(2'000);
  const auto hits = hits_of(without);
  std::size_t same = 0;
  for (const auto& [name, bit] : hits_of(with)) {
    const auto other = hits.find(name);
    if (other == hits.end() || other->second < 0 || bit < 0) continue;
    // (In a burst the first bit hit may be the burst's; it is then never later than that of the noise.)
    REQUIRE(bit <= other->second);
    if (bit == other->second) ++same;
  }
  CHECK(same > 200);
}

TEST_CASE("a fault strikes the same frames whatever else is in the scenario") {
  const auto struck = [](const SmallChain& small) {
    std::vector<std::tuple<std::string, std::uint64_t>> names;
    const Collector kept = small.run(1'500);
    for (const KeptExchange& e : kept.exchanges) {
      for (const AttemptTruth& truth : e.attempt_truths) {
        if (truth.fault != 0xffffffffU && kept.info.faults[truth.fault] == "drops")
          names.emplace_back(entry_name(kept, e), e.seen.turn);
      }
    }
    return names;
  };
  SmallChain alone = small_chain(Shape::ring, 3);
  FaultSpec& drops = alone.fault(FaultClass::loss, "drops");
  drops.rate = certain / 20;
  drops.links = {0};
  SmallChain among = alone;
  FaultSpec& other = among.fault(FaultClass::delay, "dawdles");
  other.rate = certain / 3;
  other.links = {1};
  other.by = 5 * millisecond;
  std::swap(among.chain.faults[0], among.chain.faults[1]);  // nor in which order
  CHECK(struck(alone).size() > 40);
  CHECK(struck(alone) == struck(among));
}

TEST_CASE("the same seed gives the same records, another seed others") {
  SmallChain small = noisy(5);
  const auto all_of = [](const Collector& kept) {
    std::string text;
    for (const KeptExchange& each : kept.exchanges) text += describe(each) + "\n";
    return text;
  };
  const std::string first = all_of(small.run(500));
  CHECK(all_of(small.run(500)) == first);
  small.seed = 2;
  CHECK(all_of(small.run(500)) != first);
}

}  // namespace hopbench
