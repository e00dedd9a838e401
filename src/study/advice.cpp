#include <fmt/format.h>

#include <algorithm>

#include "study/signatures.h"
#include "study/words.h"

namespace hopbench {
namespace {

std::string step_for(Mechanism mechanism, const Evidence& evidence, const Case& which) {
  const auto place = words::place(evidence, which);
  switch (mechanism) {
    case Mechanism::bit_noise:
      if (which.links.size() > 3)
        return "Look for what these hops share: supply, cable route, type of isolator, earth.";
      return "Put another cable or isolator " + place + " and see whether the rate goes with it.";
    case Mechanism::bursts:
      return "Write down when switchgear and large loads near the cable switch, and set that against the failures.";
    case Mechanism::contact:
      return "Clean and reseat the connectors " + place + "; move them by hand while a capture runs.";
    case Mechanism::cable:
      return "Look at the cable and its plugs " + place + " at the times named; measure its resistance end to end.";
    case Mechanism::clock:
      return "Measure the bit length at the outputs of both stations " + place + ", cold and warm.";
    case Mechanism::busy_node:
      return "Have the node count overruns and its longest time with interrupts off; ask it less often for a day.";
    case Mechanism::measurement:
      return "Run the same plan with a time-out longer by the turn-around seen, or ask for fewer cells at a time.";
    case Mechanism::charger:
      return "Charge once with balancing disabled, and balance once with the charger off.";
    case Mechanism::pulse_width:
      return "Measure the width of a single bit at both ends of the electrically forwarded stretch.";
    case Mechanism::bleed_edges:
      return "Let the same cells bleed without chopping, or with a slower one, for one charge cycle.";
    case Mechanism::supply:
      return "Record the station's supply at its own terminals through a failure; measure its tap contacts.";
    case Mechanism::watchdog:
      return "Read the station's reset counter and its reason for the last reset.";
    case Mechanism::room:
      return "Ask for fewer cells at a time, so that frames fit, and see whether they come through.";
    case Mechanism::wake_up:
      return "Send something short before the first ask after a silence, or poll without pauses for an hour.";
    case Mechanism::controller:
      return "Take a capture with a tap on the controller's own line beside its log, and compare arrival times.";
    case Mechanism::balancing:
      return "Run one charge cycle with balancing disabled.";
    case Mechanism::injected:
      return "If nobody put in faults on purpose, rule this out.";
  }
  return {};
}

}  // namespace

std::string next_step(const Evidence& evidence, const Case& which, const std::vector<Candidate>& candidates,
                      std::size_t tied) {
  if (candidates.empty()) return {};
  std::string text = step_for(candidates.front().mechanism, evidence, which);
  for (std::size_t i = 1; i < std::min<std::size_t>(tied, 3); ++i) {
    text += " " + step_for(candidates[i].mechanism, evidence, which);
  }
  return text;
}

}  // namespace hopbench
