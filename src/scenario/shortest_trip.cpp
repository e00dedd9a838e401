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
  const Nanos out = walk.along(links.first(), links.steps_to(entry.node) + 1, ask_chars).back().known - sent;
  const Nanos back =
      walk.along(links.answers_on(entry.node), links.steps_home(entry.node) + 1, answer_chars).back().known;
  ShortestTrip trip{out + kind.answer_after + back, 0};
  if (!rehearsal.measured) return trip;
  const Measuring measured = measuring(kind, rehearsal.cells, false);
  if (measured.waits) trip.answered += measured.before + measured.after;
  trip.age = measured.after + back;
  return trip;
}

}  // namespace hopbench
