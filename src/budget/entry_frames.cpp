// The frames of an exchange: rehearsed with the lowest, middle and highest values.
#include <algorithm>

#include "budget/entry_budget.h"
#include "scenario/asked.h"
#include "scenario/wire_length.h"

namespace hopbench {
namespace {

using End = Rehearsal::End;

bool refuses(const Protocol& protocol, const KindSpec& kind, const Rehearsal& how) {
  if (!protocol.can_refuse()) return false;
  return how.end == End::refused || (how.end == End::unknown_topic && kind.on_unknown_topic == OnUnknownTopic::refuse);
}

Reply reply_to(const Protocol& protocol, const ChainDescription& chain, const PlanEntry& entry, const Rehearsal& how) {
  const LinkTable links(chain.shape, chain.nodes.size());
  if (entry.node == nobody) {
    if (!everyone_comes_round(links, protocol.description())) return Reply::not_awaited;
    return how.end == End::answered ? Reply::comes_round : Reply::none;
  }
  if (how.end == End::answered) return Reply::answer;
  return refuses(protocol, chain.kinds[chain.nodes[entry.node].kind], how) ? Reply::refusal : Reply::none;
}

void widen(ByCase<std::uint64_t>& chars, const Protocol& protocol, const Frame& frame, bool first) {
  const std::uint64_t least = least_chars(protocol, frame);
  const std::uint64_t most = most_chars(protocol, frame);
  if (first) {
    chars = {{least, protocol.wire_chars(frame), most}};
    return;
  }
  chars.of.front() = std::min(chars.best(), least);
  chars.of.back() = std::max(chars.worst(), most);
}

void take(ExchangeFrames& frames, const Protocol& protocol, const Frame& ask, const Frame* answer, bool first) {
  widen(frames.ask_chars, protocol, ask, first);
  frames.ask_bytes = std::max(frames.ask_bytes, protocol.content_bytes(ask));
  frames.ask_payload = std::max(frames.ask_payload, ask.payload.size());
  frames.ask_shape = ask.shape;
  if (answer == nullptr) return;
  widen(frames.answer_chars, protocol, *answer, first);
  frames.answer_bytes = std::max(frames.answer_bytes, protocol.content_bytes(*answer));
  frames.answer_payload = std::max(frames.answer_payload, answer->payload.size());
  frames.answer_shape = answer->shape;
}

}  // namespace

EntryBudget rehearsed_entry(const Protocol& protocol, const ChainDescription& chain, PlanEntry entry) {
  const Rehearser rehearser(protocol, chain);
  if (entry.name.starts_with(order_name) && entry.node != nobody && entry.topic == chain.controller.balancing.topic) {
    const KindSpec& kind = chain.kinds[chain.nodes[entry.node].kind];
    const bool order = entry.arguments.size() == 1 && entry.arguments.front().first == chain.controller.balancing.field;
    if (order) entry.arguments.front().second = (std::uint64_t{1} << kind.cells) - 1;
  }
  EntryBudget budget;
  const Rehearsal middle = rehearser.rehearse(entry, Telling::middle, 1, true);
  budget.end = middle.end;
  budget.reason = middle.end == End::refused ? middle.reason : Refusal::unknown_topic;
  ExchangeFrames& frames = budget.frames;
  frames.reply = reply_to(protocol, chain, entry, middle);
  frames.cells = middle.cells;
  frames.measured = middle.measured && frames.reply == Reply::answer;
  if (frames.reply == Reply::refusal) {
    const NodeSpec& node = chain.nodes[entry.node];
    const std::uint64_t home = LinkTable(chain.shape, chain.nodes.size()).steps_home(entry.node);
    const Frame refusal = protocol.refusal_of(middle.ask, node.address, home, budget.reason);
    take(frames, protocol, middle.ask, &refusal, true);
  } else {
    const bool answered = frames.reply == Reply::answer;
    take(frames, protocol, middle.ask, answered ? &middle.answer : nullptr, true);
    for (const Telling telling : {Telling::least, Telling::most}) {
      const Rehearsal other = rehearser.rehearse(entry, telling, 1, false);
      if (other.end == End::answered) take(frames, protocol, other.ask, answered ? &other.answer : nullptr, false);
    }
  }
  budget.entry = std::move(entry);
  return budget;
}

}  // namespace hopbench
