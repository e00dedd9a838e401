// Frames lost to bit noise against 1 - (1 - p)^n, hop by hop and over whole chains.
#include <cmath>
#include <vector>

#include "support/buses.h"
#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

/// Independent trials with chances of their own.
struct Trials {
  double expected = 0;
  double variance = 0;
  double seen = 0;
  double count = 0;
  void add(double chance, bool happened) {
    expected += chance;
    variance += chance * (1 - chance);
    seen += happened ? 1 : 0;
    count += 1;
  }
  [[nodiscard]] double z() const { return (seen - expected) / std::sqrt(variance); }
};

/// Without the digits that 1 - pow(1 - p, n) loses.
double loss_of(double p, double bits) { return -std::expm1(bits * std::log1p(-p)); }

bool struck_by_noise(const KeptExchange& exchange, std::size_t row) {
  for (const RowTruth& truth : exchange.row_truths) {
    if (truth.row == row && truth.cause == Cause::bit_noise) return true;
  }
  return false;
}

void make_noisy(SmallChain& small, double p) {
  for (LinkSpec& link : small.chain.links) link.bit_error = static_cast<Ppq>(std::llround(p * 1e15));
  small.controller().pace = 0;
}

}  // namespace

TEST_CASE("on each hop as many frames are damaged as bits and rate say, over 1 to 16 hops") {
  const auto [shape, nodes] =
      GENERATE(std::pair{Shape::ring, 1U}, std::pair{Shape::ring, 4U}, std::pair{Shape::ring, 15U},
               std::pair{Shape::line, 1U}, std::pair{Shape::line, 8U});
  const double p = GENERATE(1e-3, 1e-4);
  SmallChain small = small_chain(shape, nodes);
  make_noisy(small, p);
  const Collector kept = small.run(p > 5e-4 ? 3'000 : 12'000);
  std::vector<Trials> links(small.chain.links.size());
  Trials all;
  Trials exchanges;
  for (const KeptExchange& each : kept.exchanges) {
    double survives = 1;
    for (std::size_t i = 0; i < each.rows.size(); ++i) {
      const HopRow& row = each.rows[i];
      const double chance = loss_of(p, 10.0 * row.chars);  // 8N1
      const bool struck = struck_by_noise(each, i);
      REQUIRE(struck == (row.symptom != Symptom::none));  // (an undetected error would need luck of 1 in 65 536)
      links[row.link].add(chance, struck);
      all.add(chance, struck);
    }
    const double k = each.seen.node;
    const double asks = k + 1;
    const double answers = shape == Shape::ring ? static_cast<double>(nodes) - k : k + 1;
    survives = std::pow(1 - loss_of(p, 120), asks) * std::pow(1 - loss_of(p, 180), answers);
    exchanges.add(survives, each.seen.outcome == Outcome::answered);
  }
  INFO("nodes " << nodes << " p " << p << " frames " << all.count << " struck " << all.seen);
  for (const Trials& link : links) CHECK(std::abs(link.z()) < 4);
  CHECK(std::abs(all.z()) < 4);
  CHECK(std::abs(exchanges.z()) < 4);
}

// Values of 1 - (1 - p)^n (computed to many digits outside): n = 80, p = 1e-3 and 1e-4.
TEST_CASE("frames of eighty bits are lost as often as the table says") {
  const auto [p, loss] = GENERATE(std::pair{1e-3, 0.076920602}, std::pair{1e-4, 0.007968482});
  CHECK(std::abs(loss_of(p, 80) / loss - 1) < 1e-7);
  SmallChain small = small_chain(Shape::ring, 1, "board");
  small.bus = buses::old_style();  // eight bytes
  small.bus.line = {38'400, 8, Parity::none, 2};
  make_noisy(small, p);
  const Collector kept = small.run(15'000);
  Trials first_hop;
  for (const KeptExchange& each : kept.exchanges) {
    REQUIRE(each.rows.front().chars == 8);
    first_hop.add(loss, struck_by_noise(each, 0));
  }
  CHECK(std::abs(first_hop.z()) < 4);
}

// Per-hop loss q over a round trip of h links: 1 - (1 - q)^h; q = 0.01, h = 16: 0.148542 (computed outside).
TEST_CASE("losses of injected rate add up over sixteen links as the closed form says") {
  SmallChain small = small_chain(Shape::ring, 15);
  small.controller().pace = 0;
  small.fault(FaultClass::loss).rate = certain / 100;
  const Collector kept = small.run(8'000);
  Trials lost;
  for (const KeptExchange& each : kept.exchanges) lost.add(0.148542, each.seen.outcome == Outcome::lost);
  CHECK(std::abs(lost.z()) < 4);
  CHECK(kept.count(Outcome::lost) + kept.count(Outcome::answered) == kept.exchanges.size());
  CHECK(kept.count(Cause::injected_loss) == kept.count(Outcome::lost));
}

}  // namespace hopbench
