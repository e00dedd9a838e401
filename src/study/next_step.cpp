#include "study/next_step.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "study/words.h"

namespace hopbench {
namespace {

struct Step {
  std::string text;
  bool near_battery = false;
  bool cells_unguarded = false;  // while it is done, balancing or the charger does not hold single cells
};

Step at_the_desk(std::string text) { return {std::move(text)}; }
Step near_battery(std::string text) { return {std::move(text), true}; }
Step cells_unguarded(std::string text) { return {std::move(text), true, true}; }

Step step_for(Mechanism mechanism, const Evidence& evidence, const Case& which) {
  const auto place = words::place(evidence, which);
  switch (mechanism) {
    case Mechanism::bit_noise:
      if (which.links.size() > 3)
        return near_battery("Look for what these hops share: supply, cable route, type of isolator, earth.");
      return near_battery("Put another cable or isolator " + place + " and see whether the rate goes with it.");
    case Mechanism::bursts:
      return at_the_desk(
          "Write down when switchgear and large loads near the cable switch, and set that against the failures.");
    case Mechanism::contact:
      return near_battery("Clean and reseat the connectors " + place + "; move them by hand while a capture runs.");
    case Mechanism::cable:
      return near_battery("Look at the cable and its plugs " + place +
                          " at the times named; measure its resistance end to end, unplugged at both ends.");
    case Mechanism::clock:
      return near_battery("Measure the bit length at the outputs of both stations " + place + ", cold and warm.");
    case Mechanism::busy_node:
      return at_the_desk(
          "Have the node count overruns and its longest time with interrupts off; ask it less often for a day.");
    case Mechanism::measurement:
      return at_the_desk(
          "Run the same plan with a time-out longer by the turn-around seen, or ask for fewer cells at a time.");
    case Mechanism::charger:
      return cells_unguarded("Charge once with balancing disabled, and balance once with the charger off.");
    case Mechanism::pulse_width:
      return near_battery("Measure the width of a single bit at both ends of the electrically forwarded stretch.");
    case Mechanism::bleed_edges:
      return near_battery(
          "Let the same cells bleed with slower chopping for one charge cycle (without chopping only if the maker "
          "allows the bleeds to be on all the time).");
    case Mechanism::supply:
      return near_battery(
          "Record the station's supply at its own terminals through a failure; measure its tap contacts.");
    case Mechanism::watchdog:
      return at_the_desk("Read the station's reset counter and its reason for the last reset.");
    case Mechanism::room:
      return at_the_desk("Ask for fewer cells at a time, so that frames fit, and see whether they come through.");
    case Mechanism::wake_up:
      return at_the_desk(
          "Send something short before the first ask after a silence, or poll without pauses for an hour.");
    case Mechanism::controller:
      return near_battery(
          "Take a capture with an isolated tap on the controller's own line beside its log, and compare arrival "
          "times.");
    case Mechanism::balancing:
      return cells_unguarded("Run one charge cycle with balancing disabled.");
    case Mechanism::injected:
      return at_the_desk("If nobody put in faults on purpose, rule this out.");
  }
  return {};
}

}  // namespace

Advice next_step(const Evidence& evidence, const Case& which, const std::vector<Candidate>& candidates,
                 std::size_t tied) {
  if (candidates.empty()) return {};
  Step all = step_for(candidates.front().mechanism, evidence, which);
  for (std::size_t i = 1; i < std::min<std::size_t>(tied, 3); ++i) {
    const Step more = step_for(candidates[i].mechanism, evidence, which);
    all.text += " " + more.text;
    all.near_battery = all.near_battery || more.near_battery;
    all.cells_unguarded = all.cells_unguarded || more.cells_unguarded;
  }
  if (all.cells_unguarded) all.text += fmt::format(" {}", watch_cells());
  return {std::move(all.text), all.near_battery};
}

Advice told_apart_by(const Evidence& evidence, bool counters_told) {
  const auto& nodes = evidence.run.nodes;
  const auto middle = nodes.empty() ? std::string{"a node"} : nodes[nodes.size() / 2];
  return {
      fmt::format("To tell them apart: {}take a capture with an isolated tap in the middle of the chain, before {}.",
                  counters_told ? "" : "ask the nodes for their counters of bad frames and restarts, and ", middle),
      true};
}

}  // namespace hopbench
