// Kinds of node, clocks and receivers from a scenario's message. Inner part of src/text.
#pragma once

#include "bus/description.h"
#include "scenario.pb.h"
#include "scenario/description.h"
#include "text/outline.h"

namespace hopbench {

/// `bus` may be null where it could not be loaded; then nothing is held against it.
ClockSpec clock_from(const text::Clock& clock, const Spot& spot, const BusDescription* bus);
/// `of_node`: a processor of a node, which may have a watchdog and bleeds.
ProcessorSpec processor_from(const text::Processor& processor, const Spot& spot, bool of_node);
ReceiverSpec receiver_from(const text::Receiver& receiver, const Spot& spot);
KindSpec kind_from(const text::Kind& kind, const Spot& spot, const BusDescription* bus);

}  // namespace hopbench
