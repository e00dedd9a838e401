// Faults that check has nothing to say about strike; those of which it says that they never do, do nothing.
#include <algorithm>

#include "check/random_text.h"
#include "check/run_text.h"
#include "scenario/asked.h"
#include "scenario/without.h"
#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

/// One fault, drawn for a scenario: it strikes whenever it can.
std::string random_fault(std::uint64_t number, const Scenario& scenario) {
  Dice dice("random fault", number);
  const ChainDescription& chain = scenario.chain;
  const std::string kind =
      dice.of<std::string>({"CORRUPTION", "REPETITION", "LOSS", "DELAY", "MASQUERADE", "ADDRESS", "MEMORY"});
  std::string text = "fault { name: \"drawn\" class: " + kind;
  const auto node = [&] { return chain.nodes[dice.up_to(chain.nodes.size() - 1)].name; };
  if (kind != "MEMORY" && dice.one_in(2))
    text += " into: \"" + (dice.one_in(4) ? chain.controller.name : node()) + "\"";
  if (kind != "MEMORY" && chain.shape == Shape::line && text.find("into") != std::string::npos && dice.one_in(3) &&
      text.find("into: \"controller\"") == std::string::npos &&
      text.find("into: \"" + chain.nodes.back().name + "\"") == std::string::npos) {
    text += " homeward: true";
  }
  if (dice.one_in(3)) text += " nodes: \"" + node() + "\"";
  if (dice.one_in(3)) text += " leg: " + dice.of<std::string>({"ASKS", "ANSWERS"});
  if (dice.one_in(4))
    text += " topics: \"" + scenario.bus.topics[dice.up_to(scenario.bus.topics.size() - 1)].name + "\"";
  if (kind == "CORRUPTION" || kind == "MEMORY")
    text += " bits: " + std::to_string(1 + dice.up_to(dice.one_in(3) ? 63 : 2));
  if (kind == "DELAY") text += " by: \"100ms\"";
  if (kind == "MASQUERADE") text += " value: " + std::to_string(1 + dice.up_to(254));
  if (kind == "ADDRESS") text += " value: " + std::to_string(1 + dice.up_to(6));
  return text + " }\n";
}

}  // namespace

TEST_CASE("a fault strikes unless check says that it never does") {
  const Numbers numbers = numbers_to_try(600);
  std::uint64_t striking = 0;
  std::uint64_t idle = 0;
  for (std::uint64_t number = numbers.first; number < numbers.beyond; ++number) {
    const std::string without_it = random_text(number);
    const LoadedText sound = load_text(without_it);
    if (!sound.silent()) continue;
    // What happens to an order to everyone is not seen.
    const auto& plan = sound.scenario->chain.controller.plan;
    if (std::any_of(plan.begin(), plan.end(), [](const PlanEntry& entry) { return entry.node == 0xffff; })) continue;
    const std::string text = without_it + random_fault(number, *sound.scenario);
    const LoadedText loaded = load_text(text);
    LoadedText struck = load_text_as_recorded(text);
    INFO("scenario " << number << "\n" << text << loaded.shown());
    REQUIRE(struck.scenario);
    // Buffers that are too short would hide what is lost anyway.
    struck.scenario->chain = without(struck.scenario->chain, Mechanism::room);
    Scenario bare = *sound.scenario;
    bare.chain = without(bare.chain, Mechanism::room);
    const std::uint64_t exchanges = 2 * asked_entries(bare.chain).size() + 1;
    const Collector healthy = run(bare, Way::events, exchanges);
    Collector with_fault = run(*struck.scenario, Way::events, exchanges);
    const auto says = [&](const char* words) { return loaded.shown().find(words) != std::string::npos; };
    const bool differs = difference(healthy, with_fault) != "";
    if (loaded.problems.empty()) {
      CHECK(differs);
      ++striking;
    } else if (says("never strikes") && !says("and the longest frame") && !says("that address already")) {
      // More bits than there are: all are flipped. An address that is there already: it is put in all the same.
      CHECK_FALSE(differs);
      ++idle;
    }
  }
  CHECK(striking > 20);
  CHECK(idle > 20);
}

}  // namespace hopbench
