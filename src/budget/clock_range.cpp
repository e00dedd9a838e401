#include "budget/clock_range.h"

#include "budget/board_range.h"
#include "line/clock.h"
#include "scenario/link_table.h"

namespace hopbench {

const ClockSpec& clock_spec(const ChainDescription& chain, std::uint16_t station) {
  if (station == nobody) return chain.controller.clock;
  const NodeSpec& node = chain.nodes[station];
  return node.clock ? *node.clock : chain.kinds[node.kind].clock;
}

const ReceiverSpec& receiver_spec(const ChainDescription& chain, std::uint16_t station) {
  return station == nobody ? chain.controller.receiver : chain.kinds[chain.nodes[station].kind].receiver;
}

ClockRange clock_range(const Protocol& protocol, const ChainDescription& chain, std::uint16_t station) {
  const ClockSpec& spec = clock_spec(chain, station);
  const auto off_by = [&](std::int64_t ppb) {
    ClockSpec clock = spec;
    clock.spread_ppb = 0;  // so that nothing is drawn
    clock.error_ppb += ppb;
    return period_of(clock, protocol.line().baud, Luck(0), 0);
  };
  PpbRange board;
  if (station != nobody) board = board_clock_range(board_spec(chain, station), board_range(chain, station));
  return {off_by(board.most + spec.spread_ppb), off_by(0), off_by(board.least - spec.spread_ppb)};
}

double fast_ppb(const Protocol& protocol, Period period) {
  return (static_cast<double>(period_of_baud(protocol.line().baud)) / static_cast<double>(period) - 1) * 1e9;
}

}  // namespace hopbench
