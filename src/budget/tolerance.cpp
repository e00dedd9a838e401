#include "budget/tolerance.h"

#include <algorithm>

#include "budget/clock_range.h"
#include "line/clock.h"
#include "scenario/link_table.h"

namespace hopbench {
namespace {

double bits_before_stop(const LineCoding& line) { return 1.0 + line.data_bits + (line.parity == Parity::none ? 0 : 1); }

/// The worst of a pair over both clocks' ranges: one of the far corners.
void put_range(ClockPair& pair, const Protocol& protocol, const ChainDescription& chain, Nanos stretch) {
  const ClockRange sender = clock_range(protocol, chain, pair.from);
  const ClockRange listener = clock_range(protocol, chain, pair.to);
  const ReceiverSpec& receiver = receiver_spec(chain, pair.to);
  const auto margin = [&](Period own, Period sent) {
    return vote_margin(protocol.line(), receiver, own, sent, stretch);
  };
  pair.stated = margin(listener.stated, sender.stated);
  pair.least =
      std::min({pair.stated, margin(listener.fastest, sender.slowest), margin(listener.slowest, sender.fastest)});
  const auto quicker_ppm = [](Period sent, Period own) {
    return (static_cast<double>(own) / static_cast<double>(sent) - 1) * 1e6;
  };
  const double fast = quicker_ppm(sender.fastest, listener.slowest);
  const double slow = quicker_ppm(sender.slowest, listener.fastest);
  pair.apart_ppm = fast > -slow ? fast : slow;
}

}  // namespace

// Sample v (the one that saw the edge being 1) of bit b comes b * S + v - 1 to b * S + v samples after the edge.
// ATmega data sheets write this as R_slow = (D+1) S / (S-1 + D S + S_F), R_fast = (D+2) S / ((D+1) S + S_M).
ReceiverLimits receiver_limits(const LineCoding& line, const ReceiverSpec& receiver) {
  const double stop = bits_before_stop(line);
  const double s = receiver.oversampling;
  const double first = stop * s + receiver.first_vote - 1;
  const double last = stop * s + receiver.first_vote + receiver.votes - 1;
  const double middle = stop * s + receiver.first_vote + receiver.votes / 2;
  return {100 * stop * s / first, 100 * (stop + 1) * s / last, 100 * (stop + 1) * s / middle};
}

double vote_margin(const LineCoding& line, const ReceiverSpec& receiver, Period own, Period sent, Nanos stretch) {
  const double s = receiver.oversampling;
  const double bit = static_cast<double>(sent) / static_cast<double>(own);  // sender's, in the receiver's
  const double of_stretch = static_cast<double>(stretch) / (static_cast<double>(own) / 4294967296.0);
  const auto room = [&](double at) {
    const double first = at + (receiver.first_vote - 1) / s;
    const double last = at + (receiver.first_vote + receiver.votes - 1) / s;
    return std::min(first - at * bit - std::max(0.0, of_stretch), (at + 1) * bit + std::min(0.0, of_stretch) - last);
  };
  const double stop = room(bits_before_stop(line));
  return stretch == 0 ? stop : std::min({stop, room(0), room(1)});
}

std::vector<ClockPair> clock_pairs(const Protocol& protocol, const ChainDescription& chain) {
  const LinkTable links(chain.shape, chain.nodes.size());
  std::vector<ClockPair> pairs;
  const auto passes_edges = [&](std::uint16_t station) {
    return station != nobody && chain.kinds[chain.nodes[station].kind].forwarding.kind == Forwarding::electrical;
  };
  for (std::uint16_t first = 0; first < links.size(); ++first) {
    const std::uint16_t from = links[first].from;
    // Outward in a line such a node sends nothing of its own.
    if (passes_edges(from) && !links.comes_round() && !links[first].homeward) continue;
    Nanos stretch = 0;
    for (std::uint16_t link = first; link != nobody; link = links.onward(link)) {
      stretch += chain.links[link].pulse_stretch;
      ClockPair pair;
      pair.from = from;
      pair.to = links[link].to;
      pair.first_link = first;
      pair.last_link = link;
      put_range(pair, protocol, chain, stretch);
      pairs.push_back(pair);
      if (!passes_edges(links[link].to)) break;
    }
  }
  return pairs;
}

double divisor_error_percent(std::uint64_t oscillator_hz, std::uint32_t oversampling, std::uint32_t divisor,
                             std::uint64_t baud) {
  const double rate = static_cast<double>(oscillator_hz) / (static_cast<double>(divisor) * oversampling);
  return 100 * (rate / static_cast<double>(baud) - 1);
}

std::vector<DivisorBudget> divisor_budgets(const Protocol& protocol, const ChainDescription& chain) {
  std::vector<DivisorBudget> budgets;
  const std::uint32_t baud = protocol.line().baud;
  const auto add = [&](std::uint16_t station) {
    const ClockSpec& clock = clock_spec(chain, station);
    if (clock.oscillator_hz == 0) return;
    const std::uint32_t nearest = nearest_divisor(clock.oscillator_hz, clock.oversampling, baud);
    const std::uint32_t divisor = clock.divisor != 0 ? clock.divisor : nearest;
    for (DivisorBudget& each : budgets) {
      if (each.oscillator_hz == clock.oscillator_hz && each.oversampling == clock.oversampling &&
          each.divisor == divisor) {
        each.stations.push_back(station);
        return;
      }
    }
    budgets.push_back({{station},
                       clock.oscillator_hz,
                       clock.oversampling,
                       divisor,
                       nearest,
                       divisor_error_percent(clock.oscillator_hz, clock.oversampling, divisor, baud),
                       divisor_error_percent(clock.oscillator_hz, clock.oversampling, nearest, baud)});
  };
  add(nobody);
  for (std::uint16_t node = 0; node < chain.nodes.size(); ++node) add(node);
  return budgets;
}

}  // namespace hopbench
