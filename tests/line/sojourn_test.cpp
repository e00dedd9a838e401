// Bursts after Gilbert and Elliott: closed forms in packets at a fixed spacing, from sojourns in continuous time.
#include "line/sojourn.h"

#include <cmath>
#include <functional>
#include <vector>

#include "line/conditions.h"
#include "support/catch.h"

namespace hopbench {
namespace {

constexpr Nanos spacing = millisecond;

struct Channel {
  double p;  // good to bad, from one packet to the next
  double r;  // bad to good
  double k_good;
  double k_bad;
  double loss;  // as published
  double run;   // mean length of a run of losses
};

/// Mean sojourns (good, bad) that make p and r of packets at the spacing: with leaving rates a (of good) and b (of
/// bad), p = pi_B (1 - e^{-(a+b) tau}) and r = pi_G (1 - e^{-(a+b) tau}).
std::pair<Nanos, Nanos> sojourns_of(double p, double r) {
  const double sum = -std::log(1 - p - r) / static_cast<double>(spacing);
  return {std::llround((p + r) / p / sum), std::llround((p + r) / r / sum)};
}

struct Seen {
  double loss = 0;
  double run = 0;
  double runs = 0;
};

Seen watch(std::uint64_t packets, const std::function<bool(std::uint64_t)>& lost) {
  std::uint64_t losses = 0;
  std::uint64_t runs = 0;
  bool before = false;
  for (std::uint64_t i = 0; i < packets; ++i) {
    const bool now = lost(i);
    if (now) ++losses;
    if (now && !before) ++runs;
    before = now;
  }
  return {static_cast<double>(losses) / static_cast<double>(packets),
          static_cast<double>(losses) / static_cast<double>(runs), static_cast<double>(runs)};
}

/// Variance of the loss ratio over n packets: a Bernoulli variable whose state remembers with lambda = 1 - p - r. For k
/// of 0 and 1 this is P (1 - P) / n (1 + lambda) / (1 - lambda).
double loss_sd(const Channel& c, std::uint64_t packets) {
  const double bad = c.p / (c.p + c.r);
  const double lambda = 1 - c.p - c.r;
  const double spread = (c.k_bad - c.k_good) * (c.k_bad - c.k_good) * bad * (1 - bad);
  return std::sqrt((c.loss * (1 - c.loss) + 2 * spread * lambda / (1 - lambda)) / static_cast<double>(packets));
}

}  // namespace

// Gilbert, Bell System Technical Journal 39 (1960) 1253; Elliott, BSTJ 42 (1963) 1977; closed forms as quoted with
// them, confirmed by another simulation of 10^8 packets.
TEST_CASE("losses and runs of losses with a state that is all or nothing") {
  const Channel c = GENERATE(Channel{0.01, 0.1, 0, 1, 0.090909, 10.0}, Channel{0.05, 0.5, 0, 1, 0.090909, 2.0});
  const auto [good, bad] = sojourns_of(c.p, c.r);
  Sojourns sojourns(Luck(21).stream(name_hash("bursts"), Purpose::burst_sojourn, 0), good, bad, 0);
  const Seen seen = watch(1'000'000, [&](std::uint64_t i) {
    const Nanos at = static_cast<Nanos>(i) * spacing;
    return sojourns.bad_after(at).from <= at;
  });
  INFO("loss " << seen.loss << " run " << seen.run);
  CHECK(std::abs(seen.loss - c.loss) < 4 * loss_sd(c, 1'000'000));
  // Runs are geometric with mean 1 / r: variance (1 - r) / r^2.
  CHECK(std::abs(seen.run - c.run) < 4 * std::sqrt((1 - c.r) / seen.runs) / c.r);
}

TEST_CASE("losses and runs of losses through the conditions of a link, a bit a packet") {
  const Channel c =
      GENERATE(Channel{0.01, 0.25, 0, 0.5, 0.019231, 1.6}, Channel{0.003, 0.1, 0.001, 0.5, 0.015534, 1.730477});
  const auto [good, bad] = sojourns_of(c.p, c.r);
  LinkSpec spec;
  spec.burst = {good, bad, certain / 2};
  spec.bit_error = static_cast<Ppq>(c.k_good * 1e15);
  Conditions conditions(spec, Luck(21), "into n1", 0);
  std::vector<std::uint32_t> inverted;
  const Seen seen = watch(200'000, [&](std::uint64_t i) {
    FrameKey key;
    key.entry_hash = name_hash("packets");
    key.turn = i;
    Strikes strikes;
    // One character of ten bits, so short that the state does not change within it; its first bit is the packet.
    conditions.noise(key, Timing(static_cast<Nanos>(i) * spacing, Period{1} << 32U, 1, 20), 10, 0, inverted, strikes);
    return !inverted.empty() && inverted.front() == 0;
  });
  INFO("loss " << seen.loss << " run " << seen.run);
  CHECK(std::abs(seen.loss - c.loss) < 4 * loss_sd(c, 200'000));
  // Runs end with a chance of at least 1 - run's own continuation; their spread is under their mean.
  CHECK(std::abs(seen.run - c.run) < 4 * c.run / std::sqrt(seen.runs));
}

TEST_CASE("sojourns have their means") {
  Sojourns sojourns(Luck(22).stream(name_hash("bursts"), Purpose::burst_sojourn, 0), 70 * millisecond, 3 * millisecond, 0);
  double good = 0;
  double bad = 0;
  Nanos at = 0;
  constexpr int intervals = 100'000;
  for (int i = 0; i < intervals; ++i) {
    const Interval each = sojourns.bad_after(at);
    REQUIRE(each.from >= at);
    REQUIRE(each.to > each.from);
    good += static_cast<double>(each.from - at);
    bad += static_cast<double>(each.to - each.from);
    at = each.to;
  }
  CHECK(std::abs(good / intervals / (70.0 * millisecond) - 1) < 4 / std::sqrt(double{intervals}));
  CHECK(std::abs(bad / intervals / (3.0 * millisecond) - 1) < 4 / std::sqrt(double{intervals}));
}

TEST_CASE("sojourns do not depend on who asked before, or how often") {
  const StreamKey stream = Luck(23).stream(name_hash("bursts"), Purpose::burst_sojourn, 0);
  const auto make = [&] { return Sojourns(stream, 5 * millisecond, millisecond, 0); };
  Sojourns dense = make();
  Sojourns sparse = make();
  std::vector<Interval> by_dense;
  for (Nanos at = 0; at < second; at += 100 * microsecond) {
    by_dense.push_back(dense.bad_after(at));
    const Nanos back = at - 2 * millisecond;  // a little back in time
    if (back >= 0) {
      const Interval before = by_dense[static_cast<std::size_t>(back / (100 * microsecond))];
      REQUIRE(dense.bad_after(back).from == before.from);
    }
  }
  for (Nanos at = 0; at < second; at += 37 * millisecond) {
    const Interval there = sparse.bad_after(at);
    REQUIRE(there.from == by_dense[static_cast<std::size_t>(at / (100 * microsecond))].from);
    REQUIRE(there.to > at);
  }
  Sojourns late = make();
  CHECK(late.bad_after(900 * millisecond).from == by_dense[9'000].from);
}

TEST_CASE("without bursts nothing is ever bad") {
  Sojourns none(Luck(24).stream(name_hash("bursts"), Purpose::burst_sojourn, 0), 0, 5, 0);
  CHECK_FALSE(none.ever_bad());
  CHECK(none.bad_after(1'000 * second).from == never);
}

}  // namespace hopbench
