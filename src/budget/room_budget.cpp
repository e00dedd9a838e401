#include "budget/room_budget.h"

#include "scenario/link_table.h"

namespace hopbench {

std::vector<RoomBudget> room_budgets(const std::vector<EntryBudget>& entries, const ChainDescription& chain) {
  const LinkTable links(chain.shape, chain.nodes.size());
  std::vector<RoomBudget> longest(chain.nodes.size());
  const auto hold = [&](std::uint16_t node, std::size_t entry, bool answering, bool acts) {
    const KindSpec& kind = chain.kinds[chain.nodes[node].kind];
    const ExchangeFrames& frames = entries[entry].frames;
    const std::size_t bytes = answering ? frames.answer_bytes : frames.ask_bytes;
    if (kind.buffer_bytes == 0 || (!acts && kind.forwarding.kind != Forwarding::whole)) return;
    if (bytes > longest[node].longest) longest[node] = {node, entry, answering, bytes, kind.buffer_bytes};
  };
  for (std::size_t i = 0; i < entries.size(); ++i) {
    const std::uint16_t asked = entries[i].entry.node;
    for (std::uint16_t node = 0; node < chain.nodes.size(); ++node) {
      if (asked == nobody || node <= asked) hold(node, i, false, asked == nobody || node == asked);
    }
    if (asked == nobody || entries[i].frames.answer_bytes == 0) continue;
    for (std::uint16_t link = links.answers_on(asked); link != nobody && links[link].to != nobody;
         link = links.onward(link)) {
      hold(links[link].to, i, true, false);
    }
  }
  std::vector<RoomBudget> rooms;
  for (const RoomBudget& each : longest) {
    if (each.longest > 0) rooms.push_back(each);
  }
  return rooms;
}

}  // namespace hopbench
