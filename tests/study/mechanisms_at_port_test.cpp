// What of a scenario's mechanisms a real controller meets at a port: the same asks are put to the chain with and
// without each of them, and what comes out is compared.
#include <map>
#include <span>
#include <string>
#include <vector>

#include "chain/chain.h"
#include "scenario/real_port.h"
#include "scenario/without.h"
#include "seen/ignoring_sink.h"
#include "support/catch.h"
#include "support/shipped.h"

namespace hopbench {
namespace {

constexpr Nanos minute = 60 * second;
constexpr Nanos hour = 60 * minute;

struct Ask {
  Nanos start = 0;
  std::vector<std::uint8_t> bytes;
};

/// What the scenario's own controller asked, to be asked again by one that is not simulated.
struct Asks final : IgnoringSink {
  explicit Asks(const Protocol& the_protocol) : protocol(&the_protocol) {}
  void exchange(const ExchangeObs& obs, const ExchangeTruth*) override {
    WireBytes wire;
    protocol->wrap(obs.asked, wire);
    const auto bytes = wire.view();
    for (const Attempt& attempt : obs.attempts) all.push_back({attempt.start, {bytes.begin(), bytes.end()}});
  }
  const Protocol* protocol;
  std::vector<Ask> all;
};

struct Nobody final : IgnoringSink {};

struct AtPort {
  Nobody nobody;
  Chain chain;
  std::vector<std::pair<Nanos, std::vector<std::uint8_t>>> heard;

  AtPort(const Protocol& protocol, const ChainDescription& description)
      : chain(protocol, description, description.seed, Way::events, Seat::outside, nobody) {
    chain.set_outlet(
        [this](std::span<const Nanos> ends, std::span<const std::uint8_t> bytes, std::span<const std::uint8_t>, bool) {
          heard.emplace_back(ends.front(), std::vector<std::uint8_t>(bytes.begin(), bytes.end()));
        });
  }
};

/// Whether a controller that asks the same hears the same of both. As soon as it does not, that is known.
bool hears_the_same(const Protocol& protocol, const ChainDescription& one, const ChainDescription& other,
                    const std::vector<Ask>& asks) {
  AtPort first(protocol, one);
  AtPort second(protocol, other);
  std::size_t frames = 0;
  for (const Ask& ask : asks) {
    for (AtPort* each : {&first, &second}) {
      each->heard.clear();
      each->chain.arrive(ask.start, false, ask.bytes, {});
    }
    if (first.heard != second.heard) return false;
    frames += first.heard.size();
  }
  REQUIRE(2 * frames > asks.size());  // not the same because nothing came
  return true;
}

}  // namespace

TEST_CASE("a mechanism is said to act at a real port if a controller there can hear it", "[at_port]") {
  // A scenario that has it, and how long it takes to show there.
  const std::map<Mechanism, std::pair<std::string, Nanos>> shown{
      {Mechanism::bit_noise, {"mechanisms/bit-noise", 20 * minute}},
      {Mechanism::bursts, {"mechanisms/bursts", 10 * minute}},
      {Mechanism::contact, {"mechanisms/contact", 10 * minute}},
      {Mechanism::cable, {"mechanisms/cable", 30 * minute}},
      {Mechanism::clock, {"mechanisms/clock", 12 * hour}},
      {Mechanism::busy_node, {"mechanisms/busy-node", 10 * minute}},
      {Mechanism::measurement, {"mechanisms/measurement", minute}},
      {Mechanism::charger, {"mechanisms/charger", 6 * hour}},
      {Mechanism::pulse_width, {"mechanisms/pulse-width", minute}},
      {Mechanism::bleed_edges, {"mechanisms/bleed-edges", 6 * hour}},
      {Mechanism::supply, {"mechanisms/supply", 12 * hour}},
      {Mechanism::watchdog, {"mechanisms/watchdog", 10 * minute}},
      {Mechanism::room, {"mechanisms/room", minute}},
      {Mechanism::wake_up, {"mechanisms/wake-up", 10 * minute}},
      {Mechanism::controller, {"mechanisms/controller", 20 * minute}},
      {Mechanism::balancing, {"mechanisms/healthy", 6 * hour}},
      {Mechanism::injected, {"mixed", 20 * minute}},
  };
  for (const Mechanism mechanism : mechanisms()) {
    INFO(name_of(mechanism));
    REQUIRE(shown.count(mechanism) == 1);
    const auto& [file, span] = shown.at(mechanism);
    auto scenario = shipped_scenario(file);
    scenario.chain.seed = 4;  // with many others the supply holds longer
    REQUIRE(has_mechanism(scenario.chain, mechanism));
    const Protocol protocol(scenario.bus);
    Asks asks(protocol);
    Chain chain(protocol, scenario.chain, scenario.chain.seed, Way::repeats, Seat::simulated, asks);
    REQUIRE(chain.run_until(span));
    chain.finish({});
    CHECK(hears_the_same(protocol, scenario.chain, without(scenario.chain, mechanism), asks.all) !=
          acts_at_real_port(mechanism));
  }
}

}  // namespace hopbench
