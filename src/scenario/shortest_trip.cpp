#include "scenario/shortest_trip.h"

#include "scenario/frame_walk.h"
#include "scenario/link_table.h"
#include "scenario/measuring.h"
#include "scenario/wire_length.h"

namespace hopbench {

ShortestTrip shortest_trip(const Protocol& protocol, const ChainDescription& chain, const PlanEntry& entry,
                           const Rehearsal& rehearsal) {
  const FrameWalk walk(protocol, chain, exact_speeds(protocol, chain));
  const LinkTable& links = walk.links();
  const std::uint64_t ask_chars = least_chars(protocol, rehearsal.ask);
  const Nanos sent = walk.span(nobody, ask_chars);
  if (entry.node == nobody) {
    if (!everyone_comes_round(links, protocol.description())) return {};
    return {walk.along(links.first(), links.size(), ask_chars).back().known - sent, 0};
  }
  const KindSpec& kind = chain.kinds[chain.nodes[entry.node].kind];
  const std::uint64_t answer_chars = least_chars(protocol, rehearsal.answer);
  Nanos in_node = kind.answer_after;
  Nanos since_taken = 0;  // from when the values are taken until the node answers
  if (rehearsal.measured) {
    const Measuring measured = measuring(kind, rehearsal.cells, false);
    if (measured.waits) in_node += measured.before + measured.after;
    since_taken = measured.after;
  }
  const FrameWalk::Trip trip = walk.there_and_back(entry.node, ask_chars, answer_chars, in_node);
  const Nanos known = trip.home.back().known;
  return {known - sent, rehearsal.measured ? since_taken + known - trip.out.back().known - in_node : 0};
}

}  // namespace hopbench
