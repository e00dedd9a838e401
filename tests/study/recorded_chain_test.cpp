// A capture gives back what a chain told, whoever asks it and however much is on its way at once.
#include <algorithm>
#include <string>

#include "chain/chain.h"
#include "measure/fan_out.h"
#include "record/capture_tools.h"
#include "support/buses.h"
#include "support/catch.h"
#include "support/dice.h"
#include "support/wild_scenario.h"

namespace hopbench {
namespace {

/// Answers and asks that come much later, twice, or out of turn: an ask begins while others are on their way.
void hold_up(RandomScenario& scenario, Dice& dice) {
  for (const FaultClass kind : {FaultClass::delay, FaultClass::repetition, FaultClass::sequence}) {
    if (dice.one_in(3)) continue;
    FaultSpec fault;
    fault.name = "held " + std::to_string(static_cast<int>(kind));
    fault.kind = kind;
    if (dice.one_in(3)) fault.leg = dice.one_in(2) ? LegFilter::asks : LegFilter::answers;
    fault.rate = certain / dice.of<Ppq>({2, 7, 50});
    fault.by = dice.between(0, 30) * dice.of<Nanos>({100 * microsecond, millisecond, 100 * millisecond, second});
    scenario.chain.faults.push_back(fault);
  }
}

/// Asks of the chain's own plan, put to it without waiting for what comes back, in any of the outside seats.
class Impatient {
 public:
  Impatient(const Protocol& protocol, const ChainDescription& description, Dice& dice)
      : protocol_(protocol), description_(description), dice_(dice), paced_(dice.one_in(2)) {}

  void ask(Chain& chain) {
    const PlanEntry& entry = dice_.of(description_.controller.plan);
    const std::size_t node = entry.node == 0xffff ? 0 : entry.node;
    const auto topic = protocol_.topic_named(entry.topic);
    if (!topic || dice_.one_in(30)) return arrive(chain, {1, 2, 3, 4, 5, 6, 7, 8});
    Frame frame = protocol_.ask(*topic, description_.nodes[node].address, number_, 8);
    if (!dice_.one_in(4)) ++number_;  // or the same once more
    Content content;
    protocol_.encode(frame, content);
    WireBytes wire;
    protocol_.wrap(content.view(), wire);
    const auto bytes = wire.view();
    arrive(chain, {bytes.begin(), bytes.end()});
  }

 private:
  void arrive(Chain& chain, const std::vector<std::uint8_t>& bytes) {
    chain.arrive(chain.now(), paced_, bytes, {});
    if (dice_.one_in(10)) chain.port_was_late(chain.now() - dice_.between(0, 20) * millisecond, chain.now());
    if (dice_.one_in(10))
      chain.decided(dice_.of<Decision>({Decision::answered, Decision::retried, Decision::rejected}));
  }

  const Protocol& protocol_;
  const ChainDescription& description_;
  Dice& dice_;
  bool paced_;
  std::uint64_t number_ = 0;
};

void run_outside(const Protocol& protocol, const ChainDescription& description, Dice& dice, Sink& sink) {
  Chain chain(protocol, description, 7, Way::events, dice.of<Seat>({Seat::outside, Seat::in_time, {true, second / 5}}),
              sink);
  chain.set_outlet([](auto...) {});
  Impatient controller(protocol, description, dice);
  for (int i = 0; i < 150; ++i) {
    controller.ask(chain);
    if (!chain.run_until(chain.now() + dice.between(0, 20) * dice.of<Nanos>({millisecond, 20 * millisecond}))) break;
  }
  chain.finish({});
}

void run_simulated(const Protocol& protocol, const ChainDescription& description, Sink& sink) {
  Chain chain(protocol, description, 7, Way::events, Seat::simulated, sink);
  (void)chain.run_exchanges(150);
  chain.finish({});
}

}  // namespace

TEST_CASE("a capture gives back what a chain told, whoever asks it", "[recorded]") {
  std::uint64_t exchanges = 0;
  for (std::uint64_t number = 0; number < 200; ++number) {
    CAPTURE(number);
    Dice dice("recorded chain", number);
    RandomScenario scenario = wild_scenario(number);
    hold_up(scenario, dice);
    const Protocol protocol(scenario.bus);
    sample::Listing told;
    sample::MemoryFile file;
    {
      CaptureWriter writer(file, "memory", sample::origin(), sample::still_plan());
      FanOut all{&told, &writer};
      if (dice.one_in(3)) {
        run_simulated(protocol, scenario.chain, all);
      } else {
        run_outside(protocol, scenario.chain, dice, all);
      }
    }
    const auto back = sample::read_back(file.bytes);
    CHECK_FALSE(back.damage.in_the_middle());
    CHECK(sample::difference(told.lines, back.lines) == "");
    exchanges += static_cast<std::uint64_t>(std::count_if(
        told.lines.begin(), told.lines.end(), [](const auto& line) { return line.starts_with("exchange"); }));
  }
  CHECK(exchanges > 15'000);
}

TEST_CASE("a controller that asks the same again and again without end is recorded whole", "[recorded]") {
  for (const bool answers : {false, true}) {
    RandomScenario scenario = wild_scenario(0);
    scenario.bus = buses::bench_frame();
    ChainDescription& chain_of = scenario.chain;
    chain_of.faults.clear();
    for (LinkSpec& link : chain_of.links) link = {};
    if (!answers) chain_of.links.front().opens = {{0, never, false}};
    const Protocol protocol(scenario.bus);
    sample::Listing told;
    sample::MemoryFile file;
    std::size_t tries = 0;
    {
      CaptureWriter writer(file, "memory", sample::origin(), sample::still_plan());
      FanOut all{&told, &writer};
      Chain chain(protocol, chain_of, 7, Way::events, Seat::outside, all);
      chain.set_outlet([](auto...) {});
      Content content;
      protocol.encode(protocol.ask(*protocol.topic_named("nameplate"), chain_of.nodes[0].address, 5, 8), content);
      WireBytes wire;
      protocol.wrap(content.view(), wire);
      for (int i = 0; i < 1000; ++i) {
        chain.arrive(chain.now(), false, wire.view(), {});
        REQUIRE(chain.run_until(chain.now() + 30 * millisecond));
      }
      chain.finish({});
    }
    for (const std::string& line : told.lines) {
      if (!line.starts_with("exchange")) continue;
      for (std::size_t at = line.find(" truth"), i = line.find(" try "); i < at; i = line.find(" try ", i + 1)) ++tries;
    }
    CHECK(tries == 1000);
    const auto back = sample::read_back(file.bytes);
    CHECK_FALSE(back.damage.in_the_middle());
    CHECK(sample::difference(told.lines, back.lines) == "");
  }
}

}  // namespace hopbench
