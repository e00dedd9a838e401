// How long an exchange takes at least: in closed form, from what the scenario states.
#pragma once

#include "base/time.h"
#include "bus/protocol.h"
#include "scenario/description.h"
#include "scenario/rehearsal.h"

namespace hopbench {

/// Of an exchange that nothing holds up. Every clock goes exactly at the bus's rate; frames are no longer on the wire
/// than they can be (stuffing adds nothing); no processor is busy, no node sleeps, nothing bleeds.
struct ShortestTrip {
  Nanos answered = 0;  // from the last edge of the ask at the controller until it knows the answer
  Nanos age = 0;       // of the values told, when it knows them; 0 if the answer tells of none measured
};

/// `rehearsal` must have ended in End::answered. To everyone: `answered` is until the ask has come round, 0 in a line.
ShortestTrip shortest_trip(const Protocol& protocol, const ChainDescription& chain, const PlanEntry& entry,
                           const Rehearsal& rehearsal);

}  // namespace hopbench
