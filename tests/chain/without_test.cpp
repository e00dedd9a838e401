// Each mechanism by itself: it makes failures of its own cause, and there are none without it. The figures are made up
// so that each shows itself within a minute or so; none is an expectation about real boards.
#include "scenario/without.h"

#include <algorithm>
#include <string>

#include "support/catch.h"
#include "support/physical_scenario.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

DutySpec long_duty() {
  DutySpec duty;
  duty.name = "storage";
  duty.every = 1'100 * millisecond;
  duty.takes = 300 * millisecond;
  return duty;
}

/// Four cells that are bled all the time.
void bleed_all(SmallChain& small) {
  for (PlanEntry& entry : small.chain.controller.plan) {
    entry.topic = "bleed";
    entry.arguments = {{"cells", 15}};
  }
  small.kind().board.bleed_mohm = 33'000;
}

/// A chain of which `mechanism` is all that is wrong. Only what is no mechanism by itself has none.
std::optional<SmallChain> chain_with(Mechanism mechanism) {
  SmallChain small = small_chain(Shape::ring, 3, "readings");
  KindSpec& kind = small.kind();
  auto& links = small.chain.links;
  switch (mechanism) {
    case Mechanism::bit_noise:
      for (LinkSpec& link : links) link.bit_error = certain / 1'000;
      break;
    case Mechanism::bursts:
      links[1].burst = {2 * second, second, certain / 2};
      break;
    case Mechanism::contact:
      links[1].contact = {2 * second, second, false};
      break;
    case Mechanism::cable:
      links[1].opens = {{2 * second, 9 * second, false}};
      break;
    case Mechanism::clock:
      small.chain.nodes[1].clock = ClockSpec{};
      small.chain.nodes[1].clock->error_ppb = 80'000'000;
      break;
    case Mechanism::busy_node:
      kind.processor.duties = {long_duty()};
      break;
    case Mechanism::measurement:
      kind.measurement.snapshot = 200 * millisecond;
      break;
    case Mechanism::charger:
      small.chain.pack.battery.present = true;
      small.chain.pack.battery.charge_ppm = 500'000;
      small.chain.pack.cycle.charge_ma = 5'000;
      small.chain.pack.cycle.charge_for = 86'400 * second;
      links[1].line_ripple = {10 * millisecond, 2 * millisecond, certain / 10};
      break;
    case Mechanism::pulse_width:
      links[1].pulse_stretch = 7 * microsecond;  // of a bit of 10
      break;
    case Mechanism::bleed_edges:
      bleed_all(small);
      kind.board.chop_period = millisecond;
      kind.board.bleed_duty_ppm = 500'000;
      for (LinkSpec& link : links) link.bleed_edge = {200 * microsecond, certain / 20};
      break;
    case Mechanism::supply:
      kind.board.brown_out_uv = 14'000'000;  // four cells at 3.3 V have less
      kind.board.brown_in_uv = 14'200'000;
      break;
    case Mechanism::watchdog:
      kind.processor.duties = {long_duty()};
      kind.processor.watchdog = 50 * millisecond;
      kind.start_up = 500 * millisecond;
      break;
    case Mechanism::room:
      kind.buffer_bytes = 13;
      break;
    case Mechanism::wake_up:
      kind.sleep_after = 100 * millisecond;
      kind.wake_up = 500 * microsecond;
      break;
    case Mechanism::controller:
      small.controller().processor.duties = {long_duty()};
      small.controller().processor.duties[0].masks = true;
      small.controller().processor.duties[0].jitter = 200 * millisecond;
      small.controller().processor.fifo_chars = 4;
      break;
    case Mechanism::injected:
      small.fault(FaultClass::loss).rate = certain / 5;
      break;
    case Mechanism::balancing:
      return std::nullopt;
  }
  return small;
}

std::size_t failures_by(const Collector& kept, Mechanism mechanism) {
  std::size_t count = 0;
  for (const auto& exchange : kept.exchanges) {
    for (const auto& truth : exchange.attempt_truths) count += mechanism_of(truth.cause) == mechanism ? 1U : 0U;
  }
  return count;
}

constexpr std::uint64_t exchanges = 200;

}  // namespace

TEST_CASE("a mechanism alone makes failures of its cause, and none when it is switched off") {
  for (const Mechanism mechanism : mechanisms()) {
    const auto small = chain_with(mechanism);
    if (!small) continue;
    INFO(name_of(mechanism));
    CHECK(has_mechanism(small->chain, mechanism));
    CHECK(failures_by(small->run(exchanges), mechanism) > 0);
    SmallChain off = *small;
    off.chain = without(small->chain, mechanism);
    CHECK_FALSE(has_mechanism(off.chain, mechanism));
    CHECK(failures_by(off.run(exchanges), mechanism) == 0);
  }
}

TEST_CASE("a chain with one mechanism stays as it is when only that one is kept") {
  for (const Mechanism mechanism : mechanisms()) {
    const auto small = chain_with(mechanism);
    // A watchdog alone has no duty that could trip it.
    if (!small || mechanism == Mechanism::watchdog) continue;
    INFO(name_of(mechanism));
    SmallChain only = *small;
    only.chain = with_only(small->chain, std::span(&mechanism, 1));
    const Collector before = small->run(exchanges);
    const Collector after = only.run(exchanges);
    REQUIRE(before.exchanges.size() == after.exchanges.size());
    for (std::size_t i = 0; i < before.exchanges.size(); ++i) {
      REQUIRE(describe(before.exchanges[i]) == describe(after.exchanges[i]));
    }
  }
}

TEST_CASE("balancing is kept unless it is switched off") {
  SmallChain small = small_chain(Shape::ring, 3, "readings");
  small.controller().balancing.every = 5 * second;
  const Mechanism clock = Mechanism::clock;
  CHECK(with_only(small.chain, std::span(&clock, 1)).controller.balancing.every == 5 * second);
  CHECK(without(small.chain, Mechanism::balancing).controller.balancing.every == 0);
  bleed_all(small);
  CHECK(without(small.chain, Mechanism::balancing).controller.plan[0].arguments[0].second == 0);
}

TEST_CASE("switching a mechanism off twice is switching it off, and the order does not matter") {
  for (std::uint64_t number = 0; number < 50; ++number) {
    const ChainDescription chain = physical_scenario(number).chain;
    for (const Mechanism each : mechanisms()) {
      const ChainDescription off = without(chain, each);
      REQUIRE_FALSE(has_mechanism(off, each));
      // No mechanism is another one's.
      const auto before = mechanisms_of(chain);
      const auto after = mechanisms_of(off);
      for (const Mechanism other : before) {
        INFO(number << ": without " << name_of(each) << ", " << name_of(other));
        REQUIRE((other == each || std::find(after.begin(), after.end(), other) != after.end()));
      }
    }
    REQUIRE(mechanisms_of(without(chain, mechanisms())).empty());
  }
}

TEST_CASE("without anything to switch off nothing but the scenario's own limits makes failures") {
  for (std::uint64_t number = 0; number < 30; ++number) {
    const RandomScenario made = physical_scenario(number);
    ChainDescription chain = without(made.chain, mechanisms());
    // Limits of the plan itself: values may be too old from travelling alone, and an answer to the try before may come
    // while the next one is out.
    chain.controller.fresh_within = 0;
    chain.controller.retries = 0;
    const Protocol protocol(made.bus);
    Collector kept;
    Chain world(protocol, chain, number, Way::repeats, Seat::simulated, kept);
    if (!world.run_until(20 * second)) continue;
    world.finish({});
    for (const Mechanism each : mechanisms()) {
      INFO(number << ": " << name_of(each));
      CHECK(failures_by(kept, each) == 0);
    }
  }
}

}  // namespace hopbench
