// A fourth way of running a chain: broken off at quiet points, saved, and gone on with in another chain, in whatever
// way. Its records are those of the unbroken run, one by one.
#include <algorithm>
#include <cstdlib>
#include <memory>
#include <string>
#include <vector>

#include "chain/chain.h"
#include "chain/saved_state.h"
#include "support/broken_run.h"
#include "support/catch.h"
#include "support/dice.h"
#include "support/physical_scenario.h"
#include "support/random_scenario.h"
#include "support/small_chain.h"
#include "support/unfolder.h"
#include "support/wild_scenario.h"
#include "wires/occupied.h"

namespace hopbench {
namespace {

constexpr std::uint64_t seed = 7;

std::uint64_t from_environment(const char* name, std::uint64_t otherwise) {
  const char* text = std::getenv(name);
  return text == nullptr ? otherwise : std::strtoull(text, nullptr, 10);
}

using Maker = RandomScenario (*)(std::uint64_t);

/// How long the scenario takes for so many exchanges.
Nanos time_of(const RandomScenario& scenario, std::uint64_t exchanges) {
  const Protocol protocol(scenario.bus);
  Collector kept;
  Chain chain(protocol, scenario.chain, seed, Way::events, Seat::simulated, kept);
  (void)chain.run_exchanges(exchanges);
  chain.finish({});
  return kept.ended;
}

/// Instants of a run that ends at `until`, in rising order.
std::vector<Nanos> some_instants(Dice& dice, Nanos start, Nanos until) {
  std::vector<Nanos> instants;
  for (std::uint64_t i = 0; i < 6; ++i) instants.push_back(dice.between(start, until));
  if (dice.one_in(3)) instants.push_back(start);
  std::sort(instants.begin(), instants.end());
  return instants;
}

void broken_equals_unbroken(Maker make) {
  const std::uint64_t first = from_environment("HOPBENCH_FIRST_SCENARIO", 0);
  const std::uint64_t scenarios = from_environment("HOPBENCH_SCENARIOS", 120);
  const std::uint64_t exchanges = from_environment("HOPBENCH_EXCHANGES", 150);
  const std::vector<std::vector<Way>> ways{
      {Way::events}, {Way::repeats}, {Way::every_byte}, {Way::repeats, Way::every_byte, Way::events}};
  std::size_t saved = 0;
  std::size_t runs = 0;
  for (std::uint64_t number = first; number < first + scenarios; ++number) {
    const RandomScenario scenario = make(number);
    INFO("scenario " << number << " on " << scenario.bus.name);
    const Protocol protocol(scenario.bus);
    const Nanos start = scenario.chain.start.at;
    const Nanos until = time_of(scenario, exchanges);
    bool stuck = false;
    const Collector whole = unbroken_run(protocol, scenario.chain, seed, Way::events, until, stuck);
    if (stuck) continue;
    Dice dice("broken at", number);
    for (std::size_t i = 0; i < ways.size(); ++i) {
      INFO("ways " << i);
      const BrokenRun run =
          broken_run(protocol, scenario.chain, seed, ways[i], some_instants(dice, start, until), until);
      REQUIRE(run.trouble == "");
      REQUIRE(first_difference(whole, run.kept) == "");
      saved += run.saved.size();
      ++runs;
    }
  }
  // Runs that are never broken would prove little.
  CHECK(saved > 4 * runs);
}

RandomScenario tricky(std::uint64_t number) {
  return number % 2 == 0 ? random_scenario(number) : physical_scenario(number);
}

}  // namespace

TEST_CASE("a run that is broken off and gone on with tells what the unbroken one tells: random scenarios") {
  broken_equals_unbroken(random_scenario);
}

TEST_CASE("a run that is broken off and gone on with tells what the unbroken one tells: what goes on around it") {
  broken_equals_unbroken(physical_scenario);
}

TEST_CASE("a run that is broken off and gone on with tells what the unbroken one tells: clocks at the edge, heat") {
  broken_equals_unbroken(edgy_scenario);
}

TEST_CASE("a run that is broken off and gone on with tells what the unbroken one tells: design mistakes") {
  broken_equals_unbroken([](std::uint64_t number) {
    RandomScenario made = number % 2 == 0 ? random_scenario(number) : physical_scenario(number);
    give_flaw(made, number);
    return made;
  });
}

TEST_CASE("a run that is broken off and gone on with tells what the unbroken one tells: wild scenarios") {
  broken_equals_unbroken(wild_scenario);
}

TEST_CASE("a run by numbers of exchanges may be broken where it stops, in the middle of its plan") {
  const std::uint64_t scenarios = from_environment("HOPBENCH_SCENARIOS", 120);
  std::size_t saved = 0;
  for (std::uint64_t number = 0; number < scenarios; ++number) {
    const RandomScenario scenario = wild_scenario(number);
    INFO("scenario " << number);
    const Protocol protocol(scenario.bus);
    const Way way = number % 2 == 0 ? Way::repeats : Way::events;
    const auto run_in_parts = [&](bool broken) {
      Collector kept;
      auto chain = std::make_unique<Chain>(protocol, scenario.chain, seed, way, Seat::simulated, kept);
      Dice dice("parts", number);
      bool goes_on = true;
      for (std::uint64_t until = dice.up_to(30); goes_on && until < 120; until += 1 + dice.up_to(30)) {
        goes_on = chain->run_exchanges(until);
        // Once more, over time: no exchange is begun meanwhile.
        goes_on = goes_on && chain->run_until(chain->now() + dice.between(0, 300) * millisecond);
        if (!broken || !goes_on || !chain->quiet()) continue;
        std::string why;
        const auto state = chain->save(why);
        REQUIRE(why == "");
        chain = Chain::resumed(protocol, scenario.chain, seed, way, kept, state, why);
        REQUIRE(why == "");
        ++saved;
      }
      chain->finish({});
      return kept;
    };
    REQUIRE(first_difference(run_in_parts(false), run_in_parts(true)) == "");
  }
  CHECK(saved > 3 * scenarios);
}

TEST_CASE("the pause before a frame is kept over a break in the middle of it") {
  // Nothing comes back: the next ask follows at once, but for the pause that the bus asks for.
  SmallChain made = small_chain(Shape::line, 1);
  made.bus.forward.least_gap_char_tenths = 100;
  made.poll_only(0xffff, "bleed", {{"cells", 3}});
  made.controller().pace = made.controller().gap = 0;
  const Protocol protocol(made.bus);
  constexpr Nanos until = 50 * millisecond;
  bool stuck = false;
  const Collector whole = unbroken_run(protocol, made.chain, seed, Way::events, until, stuck);
  REQUIRE(whole.exchanges.size() > 10);
  CHECK(whole.exchanges[1].seen.start == whole.exchanges[0].seen.decided + millisecond);
  const BrokenRun run = broken_run(protocol, made.chain, seed, {Way::events},
                                   {10 * millisecond, 20 * millisecond, 30 * millisecond}, until);
  CHECK(run.trouble == "");
  CHECK(run.saved.size() == 3);
  CHECK(first_difference(whole, run.kept) == "");
}

TEST_CASE("what held frames up lately is kept") {
  Dice dice("occupied", 1);
  Occupied before;
  Nanos at = 0;
  for (int i = 0; i < 100; ++i) {
    const Nanos start = at + dice.between(0, 1'000);
    at = start + dice.between(1, 1'000);
    before.add({start, at, {dice.between(-500, 5'000), dice.between(0, 5'000), 0, dice.between(-500, 500)}});
    Archive down;
    before.keep(down);
    Occupied after;
    Archive back(down.bytes());
    after.keep(back);
    REQUIRE(back.good());
    for (std::size_t holdup = 0; holdup < holdup_count; ++holdup) {
      REQUIRE(after.last_without(holdup) == before.last_without(holdup));
      for (int k = 0; k < 20; ++k) {
        const Nanos wanted = at + dice.between(-20'000, 1'000);
        REQUIRE(after.free_from(wanted, 30, holdup) == before.free_from(wanted, 30, holdup));
      }
    }
  }
}

TEST_CASE("what is told in blocks is the same after a break") {
  const std::uint64_t scenarios = from_environment("HOPBENCH_SCENARIOS", 60);
  std::uint64_t repeated = 0;
  for (std::uint64_t number = 0; number < scenarios; ++number) {
    const RandomScenario scenario = wild_scenario(number);
    INFO("scenario " << number);
    const Protocol protocol(scenario.bus);
    const Nanos until = time_of(scenario, 400);
    const Nanos start = scenario.chain.start.at;
    Unfolder whole(0);
    Unfolder pieces(0);
    Chain unbroken(protocol, scenario.chain, seed, Way::repeats, Seat::simulated, whole);
    if (!unbroken.run_until(until)) continue;
    Dice dice("blocks", number);
    auto piece = std::make_unique<Chain>(protocol, scenario.chain, seed, Way::repeats, Seat::simulated, pieces);
    for (const Nanos at : some_instants(dice, start, until)) {
      REQUIRE(piece->run_until(at));
      if (!piece->run_until_quiet(until)) continue;
      std::string why;
      const auto state = piece->save(why);
      REQUIRE(why == "");
      piece = Chain::resumed(protocol, scenario.chain, seed, Way::repeats, pieces, state, why);
      REQUIRE(why == "");
    }
    REQUIRE(piece->run_until(until));
    REQUIRE(pieces.lines == whole.lines);
    repeated += pieces.repeated;
  }
  CHECK(repeated > 20 * scenarios);
}

TEST_CASE("a chain that has been saved goes on as if it had not") {
  const RandomScenario scenario = physical_scenario(3);
  const Protocol protocol(scenario.bus);
  const Nanos until = time_of(scenario, 300);
  bool stuck = false;
  const Collector whole = unbroken_run(protocol, scenario.chain, seed, Way::repeats, until, stuck);
  REQUIRE_FALSE(stuck);
  Collector kept;
  Chain chain(protocol, scenario.chain, seed, Way::repeats, Seat::simulated, kept);
  std::size_t saved = 0;
  for (int part = 1; part < 50; ++part) {
    REQUIRE(chain.run_until(scenario.chain.start.at + (until - scenario.chain.start.at) / 50 * part));
    std::string why;
    saved += chain.run_until_quiet(until) && !chain.save(why).empty() ? 1U : 0U;
  }
  REQUIRE(chain.run_until(until));
  chain.finish({});
  CHECK(saved > 25);
  CHECK(first_difference(whole, kept) == "");
}

TEST_CASE("a chain is saved only where nothing is under way, and never with a real controller") {
  const RandomScenario scenario = random_scenario(1);
  const Protocol protocol(scenario.bus);
  Collector kept;
  std::string why;
  Chain chain(protocol, scenario.chain, seed, Way::events, Seat::simulated, kept);
  CHECK(chain.quiet());
  REQUIRE(chain.run_until(chain.next_at()));
  CHECK_FALSE(chain.quiet());
  CHECK(chain.save(why).empty());
  CHECK(why == "something is under way");

  Collector other;
  Chain port(protocol, scenario.chain, seed, Way::events, Seat::outside, other);
  CHECK_FALSE(port.quiet());
  CHECK_FALSE(port.run_until_quiet(second));
  CHECK(port.save(why).empty());
  CHECK(why == "what a real controller has in hand cannot be saved");
}

TEST_CASE("a state of another scenario, bus, seed or version is refused, and nothing is told") {
  const RandomScenario scenario = physical_scenario(3);
  const Protocol protocol(scenario.bus);
  Collector kept;
  std::string why;
  Chain chain(protocol, scenario.chain, seed, Way::events, Seat::simulated, kept);
  std::vector<std::uint8_t> state = chain.save(why);
  REQUIRE_FALSE(state.empty());
  const auto refused = [&](const Protocol& by, const ChainDescription& description, std::uint64_t of_seed) {
    Collector nothing;
    const auto resumed = Chain::resumed(by, description, of_seed, Way::events, nothing, state, why);
    CHECK(nothing.info.links.empty());
    CHECK((resumed == nullptr) == !why.empty());
    return why;
  };
  ChainDescription description = scenario.chain;
  description.run_for = 5 * second;
  description.name = "another name";
  Collector heard;
  CHECK(Chain::resumed(protocol, description, seed, Way::events, heard, state, why) != nullptr);
  CHECK_FALSE(heard.info.links.empty());

  CHECK(refused(protocol, scenario.chain, 8) == "the saved state is of seed 7, not 8");
  description = scenario.chain;
  description.links.back().isolator_delay += 1;
  CHECK(refused(protocol, description, seed) == "the saved state is of another scenario");
  description = scenario.chain;
  description.controller.plan.front().arguments.emplace_back("more", 1);
  CHECK(refused(protocol, description, seed) == "the saved state is of another scenario");
  BusDescription bus = scenario.bus;
  bus.line.baud *= 2;
  CHECK(refused(Protocol(bus), scenario.chain, seed) == "the saved state is of another scenario");

  const std::vector<std::uint8_t> good = state;
  state[4] = 99;
  const auto check = Crc({64, 0x42f0e1eba9ea3693, ~std::uint64_t{0}, true, true, ~std::uint64_t{0}})
                         .of(std::span(state).first(state.size() - 8));
  for (std::size_t i = 0; i < 8; ++i) state[state.size() - 8 + i] = static_cast<std::uint8_t>(check >> (8 * i));
  CHECK(refused(protocol, scenario.chain, seed) == "the saved state is of version 99, this program reads version 4");
  state = good;
  state[0] ^= 1U;
  CHECK(refused(protocol, scenario.chain, seed) == "no saved state");
  state = {};
  CHECK(refused(protocol, scenario.chain, seed) == "no saved state");
  state = good;
  state[40] ^= 1U;
  CHECK(refused(protocol, scenario.chain, seed) == "the saved state is damaged: its check is wrong");
}

TEST_CASE("a saved state that is cut, turned over or made up is refused or does no harm") {
  const std::uint64_t scenarios = from_environment("HOPBENCH_SCENARIOS", 40);
  std::size_t taken_up = 0;
  std::size_t refused = 0;
  for (std::uint64_t number = 0; number < scenarios; ++number) {
    const RandomScenario scenario = tricky(number);
    INFO("scenario " << number);
    const Protocol protocol(scenario.bus);
    Dice dice("harm", number);
    const Nanos until = time_of(scenario, 100);
    const BrokenRun run = broken_run(protocol, scenario.chain, seed, {Way::events},
                                     some_instants(dice, scenario.chain.start.at, until), until);
    const StateHead head{fingerprint(scenario.bus, scenario.chain), seed};
    for (const std::vector<std::uint8_t>& state : run.saved) {
      std::string why;
      Collector nothing;
      for (int i = 0; i < 10; ++i) {
        std::vector<std::uint8_t> cut(state.begin(),
                                      state.end() - static_cast<std::ptrdiff_t>(dice.up_to(state.size() - 1)) - 1);
        CHECK(Chain::resumed(protocol, scenario.chain, seed, Way::events, nothing, cut, why) == nullptr);
        CHECK(why != "");
        std::vector<std::uint8_t> turned = state;
        turned[dice.up_to(turned.size() - 1)] ^= static_cast<std::uint8_t>(1U << dice.up_to(7));
        CHECK(Chain::resumed(protocol, scenario.chain, seed, Way::events, nothing, turned, why) == nullptr);
        CHECK(why != "");
      }
      // The same with a check that is right: then each value has to be looked at.
      const auto inside = unwrap_state(state_of_chain, head, state, why);
      REQUIRE(why == "");
      for (int i = 0; i < 30; ++i) {
        std::vector<std::uint8_t> made_up(inside.begin(), inside.end());
        if (dice.one_in(5)) made_up.resize(dice.up_to(made_up.size()));
        for (std::uint64_t n = 1 + dice.up_to(3); n > 0 && !made_up.empty(); --n) {
          std::uint8_t& byte = made_up[dice.up_to(made_up.size() - 1)];
          byte = dice.one_in(2) ? static_cast<std::uint8_t>(byte ^ (1U << dice.up_to(7)))
                                : static_cast<std::uint8_t>(dice.up_to(255));
        }
        Collector heard;
        const auto chain = Chain::resumed(protocol, scenario.chain, seed, dice.one_in(2) ? Way::events : Way::repeats,
                                          heard, wrap_state(state_of_chain, head, made_up), why);
        if (!chain) {
          ++refused;
          CHECK(why.starts_with("the saved state does not fit: "));
          continue;
        }
        ++taken_up;
        (void)chain->run_until(chain->now() + second);
        chain->finish({});
      }
    }
  }
  CHECK(taken_up > scenarios);
  CHECK(refused > scenarios);
}

}  // namespace hopbench
