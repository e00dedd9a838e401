#include "text/reach_checks.h"

#include <fmt/format.h>

#include <algorithm>

#include "scenario/link_table.h"
#include "scenario/told_range.h"
#include "text/node_names.h"

namespace hopbench {
namespace {

std::string volts(std::int64_t microvolts) { return fmt::format("{:.3g}V", static_cast<double>(microvolts) / 1e6); }
std::string degrees(std::int64_t thousandths) { return fmt::format("{:.3g}C", static_cast<double>(thousandths) / 1e3); }

std::int64_t most_of(const ChainDescription& chain, std::size_t node, Quantity quantity) {
  const auto range = told_range(chain, node, quantity);
  return range ? range->most : 0;
}

void check_supply(const ChainDescription& chain, std::size_t node, const Spot& spot) {
  const BoardSpec& board = chain.kinds[chain.nodes[node].kind].board;
  const std::int64_t cells = chain.kinds[chain.nodes[node].kind].cells;
  const std::int64_t most = most_of(chain, node, Quantity::cell_uv) * cells;
  const std::string has = fmt::format("{} has {} at most{}", chain.nodes[node].name, volts(most),
                                      cells == 1 ? "" : fmt::format(", from {} cells together", cells));
  if (board.brown_out_uv > most) {
    spot.in("brown_out")
        .warn(fmt::format("{}: it falls silent at once, and for good; below {} would be right", has, volts(most)));
  } else if (board.brown_out_uv > 0 && board.brown_in_uv > most) {
    spot.in(spot.has("brown_in") ? "brown_in" : "brown_out")
        .warn(fmt::format("{}, and starts again from {} on: once without supply it stays silent", has,
                          volts(board.brown_in_uv)));
  }
}

void check_bleed(const ChainDescription& chain, const BoardSpec& board, const Spot& spot) {
  const std::int64_t coolest = chain.pack.air.mean_mc - chain.pack.air.swing_mc;
  if (board.bleed_stop_mc <= 0 || board.bleed_stop_mc > coolest) return;
  spot.in("stop_at").warn(fmt::format("the air is never below {}, so nothing is ever bled; above {} would be right",
                                      degrees(coolest), degrees(chain.pack.air.mean_mc + chain.pack.air.swing_mc)));
}

void check_buffer(const std::vector<Rehearsed>& all, const Protocol& protocol, const ChainDescription& chain,
                  std::size_t kind, const Spot& spot) {
  const std::uint32_t room = chain.kinds[kind].buffer_bytes;
  if (room == 0) return;
  const Rehearsed* shortest = nullptr;
  std::size_t bytes = 0;
  for (const Rehearsed& each : all) {
    if (each.how.end == Rehearsal::End::not_asked) continue;
    if (each.entry.node != nobody && chain.nodes[each.entry.node].kind != kind) continue;
    const std::size_t has = protocol.content_bytes(each.how.ask);
    if (shortest != nullptr && bytes <= has) continue;
    shortest = &each;
    bytes = has;
  }
  if (shortest == nullptr || bytes <= room) return;
  spot.in("buffer_bytes")
      .warn(fmt::format("nodes with room for {} bytes hear nothing that they are asked: the shortest ask ({}) has {}",
                        room, shortest->entry.topic, bytes));
}

}  // namespace

void check_reach(const std::vector<Rehearsed>& all, const Protocol& protocol, const ChainDescription& chain,
                 const Spot& root) {
  std::vector<bool> looked_at(chain.kinds.size(), false);
  std::int64_t highest = 0;
  bool can_bleed = false;
  for (std::size_t node = 0; node < chain.nodes.size(); ++node) {
    highest = std::max(highest, most_of(chain, node, Quantity::cell_uv));
    const std::size_t kind = chain.nodes[node].kind;
    can_bleed = can_bleed || chain.kinds[kind].board.bleed_mohm > 0;
    if (looked_at[kind]) continue;
    looked_at[kind] = true;
    const Spot spot = root.in("kind", static_cast<int>(kind));
    check_supply(chain, node, spot.in("supply"));
    check_bleed(chain, chain.kinds[kind].board, spot.in("bleed"));
    check_buffer(all, protocol, chain, kind, spot);
  }
  const BalancingSpec& balancing = chain.controller.balancing;
  if (can_bleed && balancing.every > 0 && balancing.start_uv > highest) {
    const Spot spot = root.in("controller").in("balancing");
    (spot.has("start") ? spot.in("start") : spot)
        .warn(fmt::format("no cell has more than {}, and balancing starts at {}: nothing is ever bled", volts(highest),
                          volts(balancing.start_uv)));
  }
}

}  // namespace hopbench
