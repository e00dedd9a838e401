#include "scenario/real_port.h"

#include "scenario/without.h"

namespace hopbench {

// No default: who adds a mechanism decides here.
bool acts_at_real_port(Mechanism mechanism) {
  switch (mechanism) {
    // On simulated hops asks and answers are damaged or lost: no answer comes, or a bad one.
    case Mechanism::bit_noise:
    case Mechanism::bursts:
    case Mechanism::contact:
    case Mechanism::cable:
    case Mechanism::charger:
    case Mechanism::pulse_width:
    case Mechanism::bleed_edges:
      return true;
    // Simulated nodes hear each other badly. (The clock that the scenario gives the controller counts too: what comes
    // from a pty is given its bit length.)
    case Mechanism::clock:
      return true;
    // Simulated nodes lose characters, and answer late or not at all.
    case Mechanism::busy_node:
    case Mechanism::room:
    case Mechanism::wake_up:
      return true;
    // Answers come late, and values may be old or too low.
    case Mechanism::measurement:
      return true;
    // Simulated nodes fall silent, hold their line, and forget their address and what they were told.
    case Mechanism::supply:
    case Mechanism::watchdog:
      return true;
    // Faults of every class, forged frames among them.
    case Mechanism::injected:
      return true;
    // Duties and clock of a controller that is not there: the real one has its own.
    case Mechanism::controller:
      return false;
    // Cells are bled if the real controller says so, whatever the scenario's rule. What hangs on it has a name of its
    // own above.
    case Mechanism::balancing:
      return false;
  }
  return true;
}

std::vector<Mechanism> acting_at_real_port(const ChainDescription& chain) {
  std::vector<Mechanism> acting = mechanisms_of(chain);
  std::erase_if(acting, [](Mechanism each) { return !acts_at_real_port(each); });
  return acting;
}

}  // namespace hopbench
