#include "scenario/frame_walk.h"

#include <algorithm>
#include <limits>
#include <utility>

#include "line/retime.h"
#include "line/signal.h"
#include "scenario/rehearsal.h"

namespace hopbench {

Speeds exact_speeds(const Protocol& protocol, const ChainDescription& chain) {
  const Period period = period_of_baud(protocol.line().baud);
  return {period, std::vector<Period>(chain.nodes.size(), period), 0, std::vector<Nanos>(chain.nodes.size(), 0)};
}

FrameWalk::FrameWalk(const Protocol& protocol, const ChainDescription& chain, Speeds speeds)
    : protocol_(&protocol),
      chain_(&chain),
      speeds_(std::move(speeds)),
      links_(chain.shape, chain.nodes.size()),
      half_bits_(protocol.line().char_half_bits()) {}

Nanos FrameWalk::span(std::uint16_t station, std::uint64_t chars) const {
  return half_edge(0, chars * half_bits_, period(station));
}

std::vector<FrameOnLink> FrameWalk::along(std::uint16_t first, std::size_t links, std::uint64_t chars) const {
  return way(first, links, chars, 0, {});
}

/// Links that an ask goes on over behind the node that it was for.
std::size_t FrameWalk::goes_on_for(std::uint16_t node) const {
  const Rehearser rehearser(*protocol_, *chain_);
  const bool stops_at_last =
      links_.comes_round() && protocol_->description().forward.unclaimed == Unclaimed::last_node_stops_it;
  std::size_t links = 0;
  for (std::uint16_t at = node;
       rehearser.passes_everything(at) || (links > 0 && !(stops_at_last && at == links_.last_node()));) {
    const std::uint16_t onward = links_.onward(static_cast<std::uint16_t>(links_.steps_to(at)));
    if (onward == nobody) break;
    ++links;
    at = links_[onward].to;
    if (at == nobody) break;
  }
  return links;
}

FrameWalk::Trip FrameWalk::there_and_back(std::uint16_t node, std::uint64_t ask_chars, std::uint64_t answer_chars,
                                          Nanos in_node) const {
  const std::size_t out_links = links_.steps_to(node) + 1;
  Trip trip;
  trip.out = along(links_.first(), out_links + goes_on_for(node), ask_chars);
  Taken taken(links_.size(), -never);
  for (std::size_t i = out_links; i < trip.out.size(); ++i) {
    const FrameOnLink& on = trip.out[i];
    taken[on.link] = on.end - chain_->links[on.link].isolator_delay;
  }
  trip.out.resize(out_links);
  trip.home =
      way(links_.answers_on(node), links_.steps_home(node) + 1, answer_chars, trip.out.back().known + in_node, taken);
  return trip;
}

Nanos FrameWalk::free_at(std::uint16_t link, Nanos due, const Taken& taken) const {
  if (taken.empty() || taken[link] == -never) return due;
  return std::max(due, taken[link] + protocol_->least_gap(period(links_[link].from)));
}

std::vector<FrameOnLink> FrameWalk::way(std::uint16_t first, std::size_t links, std::uint64_t chars, Nanos due,
                                        const Taken& taken) const {
  std::vector<FrameOnLink> way;
  const auto count = static_cast<std::uint32_t>(chars);
  Timing timing(free_at(first, due, taken), period(links_[first].from), count, half_bits_);
  std::vector<Nanos> ends;
  Retimed retimed;
  for (std::size_t i = 0; i < links; ++i) {
    const auto link = static_cast<std::uint16_t>(first + i);
    const std::uint16_t node = links_[link].to;
    const Nanos start = timing.start();
    timing.move_to(start + chain_->links[link].isolator_delay);
    const Nanos known = timing.end() + protocol_->end_silence(period(node));
    way.push_back({link, start, timing.end(), known});
    if (i + 1 == links || node == nobody) break;
    const ForwardingSpec& passes = chain_->kinds[chain_->nodes[node].kind].forwarding;
    switch (passes.kind) {
      case Forwarding::whole:
        timing = Timing(free_at(static_cast<std::uint16_t>(link + 1), known + passes.after + speeds_.held[node], taken),
                        period(node), count, half_bits_);
        break;
      case Forwarding::by_character: {
        ends.clear();
        for (std::uint32_t at = 0; at < count; ++at) ends.push_back(timing.char_end(at));
        const std::size_t head = std::max<std::size_t>(protocol_->relay_head_bytes(), 1);
        const Nanos lag = half_edge(0, passes.lag_half_bits, period(node));
        const Nanos head_at = ends[std::min(head, ends.size()) - 1];
        // What its FIFO has no room for is lost, not late.
        retime(ends, head_at + lag, lag, half_bits_, period(node), std::numeric_limits<std::uint32_t>::max(), retimed);
        timing = Timing(retimed.starts.front(), period(node), count, half_bits_);
        timing.set_starts(retimed.starts);
        break;
      }
      case Forwarding::electrical:
        timing.move_to(timing.start() + passes.delay);
        break;
    }
  }
  return way;
}

}  // namespace hopbench
