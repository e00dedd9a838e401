// A run that begins where another one has come to.
#include <algorithm>

#include "scenario/description.h"

namespace hopbench {

void begin_there(ChainDescription& chain, const StartSpec& start) {
  chain.start = start;
  const Nanos at = start.at;
  for (LinkSpec& link : chain.links) {
    link.since = at;
    for (OpenSpec& open : link.opens) {
      open.from = open.from == never ? never : open.from - at;
      open.to = open.to == never ? never : open.to - at;
    }
    std::erase_if(link.opens, [](const OpenSpec& open) { return open.to <= 0; });
  }
  for (KindSpec& kind : chain.kinds) {
    kind.processor.since = at;
    kind.levels.since = at;
    kind.measurement.since = at;
  }
  for (FaultSpec& fault : chain.faults) {
    fault.from -= at;
    if (fault.to != never) fault.to -= at;
    const bool had_instants = !fault.at.empty();
    for (Nanos& instant : fault.at) instant -= at;
    std::erase_if(fault.at, [](Nanos instant) { return instant < 0; });
    if (had_instants && fault.at.empty()) fault.to = fault.from;  // all of it is over
  }
  ControllerSpec& controller = chain.controller;
  controller.processor.since = at;
  controller.balancing.since = at;
  controller.wrap.since = at;
  chain.pack.since = at;
  chain.pack.charged = start.charged;
}

}  // namespace hopbench
