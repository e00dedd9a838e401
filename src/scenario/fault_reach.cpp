#include "scenario/fault_reach.h"

#include <algorithm>
#include <set>

#include "line/signal.h"

namespace hopbench {
namespace {

template <class T>
bool names(const std::vector<T>& wanted, const T& value) {
  return wanted.empty() || std::find(wanted.begin(), wanted.end(), value) != wanted.end();
}

bool needs_whole(FaultClass kind) {
  return kind == FaultClass::delay || kind == FaultClass::sequence || kind == FaultClass::masquerade ||
         kind == FaultClass::address;
}

}  // namespace

FaultReach::FaultReach(const Protocol& protocol, const ChainDescription& chain)
    : protocol_(&protocol), chain_(&chain), links_(chain.shape, chain.nodes.size()), rehearser_(protocol, chain) {}

FaultReach::Span FaultReach::ask_links(const Passage& passage) const {
  const std::size_t outward = links_.comes_round() ? links_.size() : chain_->nodes.size();
  if (passage.node != nobody && !rehearser_.passes_everything(passage.node))
    return {0, links_.steps_to(passage.node) + std::size_t{1}};
  // It goes on beyond its node, at most as far as the last one that may stop it.
  const BusDescription& bus = protocol_->description();
  const bool knows_asks = bus.roles.tell_role == TellRole::by_field || !bus.roles.source.empty();
  const bool stops = bus.forward.unclaimed == Unclaimed::last_node_stops_it && knows_asks &&
                     !rehearser_.passes_everything(chain_->nodes.size() - 1);
  return {0, stops ? chain_->nodes.size() : outward};
}

FaultReach::Span FaultReach::answer_links(const Passage& passage) const {
  if (passage.answer.chars == 0) return {};
  if (passage.node == nobody) return {};
  const std::size_t first = links_.answers_on(passage.node);
  return {first, first + links_.steps_home(passage.node) + 1};
}

/// Whether whoever sends on this link what came in has it whole by then.
bool FaultReach::sends_whole(std::size_t link) const {
  const std::uint16_t from = links_[link].from;
  return from == nobody || chain_->kinds[chain_->nodes[from].kind].forwarding.kind == Forwarding::whole;
}

/// Calls visit(side, bits) for the frames that it can strike.
template <class Visit>
Spared FaultReach::look(const FaultSpec& fault, const std::vector<Passage>& passages, Visit&& visit) const {
  const bool in_memory = fault.kind == FaultClass::memory;
  // How many of the links before this one it may strike: on any terms, and where frames are at hand whole.
  std::vector<std::uint32_t> on(links_.size() + 1);
  std::vector<std::uint32_t> whole(links_.size() + 1);
  for (std::size_t link = 0; link < links_.size(); ++link) {
    const std::uint16_t from = links_[link].from;
    const bool named =
        in_memory ? from != nobody && names(fault.nodes, from) : names(fault.links, static_cast<std::uint16_t>(link));
    on[link + 1] = on[link] + (named ? 1 : 0);
    whole[link + 1] = whole[link] + (named && sends_whole(link) ? 1 : 0);
  }
  Spared least = Spared::no_exchange;
  const auto got_to = [&](Spared how) {
    constexpr Spared order[] = {Spared::no_exchange,      Spared::no_way,    Spared::not_whole,
                                Spared::nothing_to_alter, Spared::too_short, Spared::no};
    const auto place = [&](Spared each) { return std::find(std::begin(order), std::end(order), each); };
    if (place(how) > place(least)) least = how;
  };
  const BusDescription& bus = protocol_->description();
  for (const Passage& passage : passages) {
    if (!in_memory && !names(fault.nodes, passage.node)) continue;
    if (!names(fault.topics, bus.topics[passage.topic].name)) continue;
    for (const bool answering : {false, true}) {
      if (fault.leg == (answering ? LegFilter::asks : LegFilter::answers)) continue;
      const Span span = answering ? answer_links(passage) : ask_links(passage);
      if (span.from == span.to) continue;
      got_to(Spared::no_way);
      // On the first of them it is sent by whoever made it.
      const bool first = on[span.from + 1] != on[span.from] && !in_memory;
      const std::size_t behind = span.from + 1;
      const bool passed = first || on[span.to] != on[behind];
      if (!passed) continue;
      got_to(Spared::not_whole);
      if ((in_memory || needs_whole(fault.kind)) && !first && whole[span.to] == whole[behind]) continue;
      got_to(Spared::nothing_to_alter);
      const Passage::Side& side = answering ? passage.answer : passage.ask;
      if (fault.kind == FaultClass::masquerade && side.payload_bytes == 0) continue;
      if (fault.kind == FaultClass::address) {
        const bool by_source = answering && !bus.roles.source.empty();
        const bool has_field = by_source || !bus.roles.destination.empty() || !bus.roles.distance.empty();
        const bool steady = bus.roles.distance.empty() && (!answering || by_source || bus.roles.source.empty());
        const std::uint64_t stands =
            answering && passage.node != nobody ? chain_->nodes[passage.node].address : passage.destination;
        if (!has_field || (steady && stands == fault.value)) continue;
      }
      got_to(Spared::too_short);
      const std::size_t head = std::min(protocol_->head_bytes(), side.content_bytes);
      const std::uint64_t bits =
          in_memory ? 8 * (side.content_bytes - head) : std::uint64_t{side.chars} * slots_per_char(protocol_->line());
      if (visit(bits)) {
        got_to(Spared::no);
        return least;
      }
    }
  }
  return least;
}

Spared FaultReach::spares(const FaultSpec& fault, const std::vector<Passage>& passages) const {
  const bool counts_bits = fault.kind == FaultClass::corruption || fault.kind == FaultClass::memory;
  return look(fault, passages, [&](std::uint64_t bits) { return !counts_bits || bits >= fault.bits; });
}

std::uint64_t FaultReach::most_bits(const FaultSpec& fault, const std::vector<Passage>& passages) const {
  std::uint64_t most = 0;
  look(fault, passages, [&](std::uint64_t bits) {
    most = std::max(most, bits);
    return false;
  });
  return most;
}

Passage FaultReach::passage_of(const PlanEntry& entry, const Rehearsal& rehearsal) const {
  Passage passage;
  passage.node = entry.node;
  passage.topic = protocol_->topic_named(entry.topic).value_or(0);
  passage.destination = protocol_->destination(rehearsal.ask).value_or(0);
  const auto side = [&](const Frame& frame) {
    return Passage::Side{protocol_->wire_chars(frame), protocol_->content_bytes(frame), frame.payload.size()};
  };
  passage.ask = side(rehearsal.ask);
  if (entry.node != nobody) passage.answer = side(rehearsal.answer);
  return passage;
}

std::vector<Passage> FaultReach::any_passages(const FaultSpec& fault) const {
  const BusDescription& bus = protocol_->description();
  const Passage::Side longest{static_cast<std::uint32_t>(2 * protocol_->most_content() + 16), protocol_->most_content(),
                              protocol_->most_payload()};
  // These framings fill frames up.
  const bool filled = bus.framing.kind == FramingKind::fixed || bus.framing.kind == FramingKind::sized;
  const auto payload = [&](const Layout& layout) { return layout.empty() && !filled ? 0 : longest.payload_bytes; };
  std::vector<Passage> passages;
  std::set<std::pair<bool, bool>> seen;  // with and without payloads
  for (std::uint32_t topic = 0; topic < bus.topics.size(); ++topic) {
    if (!names(fault.topics, bus.topics[topic].name)) continue;
    if (!seen.insert({bus.topics[topic].ask.empty(), bus.topics[topic].answer.empty()}).second) continue;
    Passage passage;
    passage.topic = topic;
    passage.ask = longest;
    passage.ask.payload_bytes = payload(bus.topics[topic].ask);
    passage.destination = bus.roles.broadcast.empty() ? 0 : bus.roles.broadcast.front();
    passages.push_back(passage);
    passage.answer = longest;
    passage.answer.payload_bytes = payload(bus.topics[topic].answer);
    for (std::uint16_t node = 0; node < chain_->nodes.size(); ++node) {
      passage.node = node;
      passage.destination = chain_->nodes[node].address;
      passages.push_back(passage);
    }
  }
  return passages;
}

}  // namespace hopbench
