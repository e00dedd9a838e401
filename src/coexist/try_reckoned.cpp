// Promises that are reckoned, not run: clocks over their whole range, and what a longer chain costs.
#include <fmt/format.h>

#include <cmath>
#include <optional>
#include <string>
#include <vector>

#include "budget/cycle_budget.h"
#include "budget/entry_budget.h"
#include "budget/tolerance.h"
#include "coexist/trials.h"
#include "scenario/link_table.h"
#include "study/words.h"

namespace hopbench {
namespace {

/// What the controller has no room for, in one sentence.
std::optional<std::string> no_room_for(const ChainDescription& chain, const std::vector<EntryBudget>& entries) {
  const HoldsSpec& holds = chain.controller.holds;
  if (holds.nodes != 0 && chain.nodes.size() > holds.nodes) {
    return fmt::format("{} nodes are more than the {} that the controller holds.", chain.nodes.size(), holds.nodes);
  }
  std::uint64_t cells = 0;
  for (const NodeSpec& node : chain.nodes) cells += chain.kinds[node.kind].cells;
  if (holds.cells != 0 && cells > holds.cells) {
    return fmt::format("{} cells are more than the {} that the controller holds.", cells, holds.cells);
  }
  for (const EntryBudget& entry : entries) {
    if (holds.answer_bytes == 0 || entry.frames.answer_bytes <= holds.answer_bytes) continue;
    return fmt::format("The answer to {} has {} bytes; the controller holds {}.", entry.entry.name,
                       entry.frames.answer_bytes, holds.answer_bytes);
  }
  return std::nullopt;
}

/// How long a cell may go unread if one exchange is lost.
std::string unread_text(const CycleBudget& cycle) {
  if (!cycle.one_lost) return "no cell is read";
  if (cycle.one_lost->for_longest == never) return "nothing bounds how long a cell stays unread";
  return fmt::format("a cell is unread for {} at the most if one exchange is lost",
                     words::span(cycle.one_lost->for_longest));
}

/// "4.66 % faster than".
std::string apart(double ppm) {
  const double percent = std::abs(ppm) / 1e4;
  return fmt::format("{:.{}f} % {} than", percent, percent < 1 ? 3 : 2, ppm < 0 ? "slower" : "faster");
}

}  // namespace

Trial try_clocks(const TrialGround& ground, const KindOrder& order) {
  Trial trial;
  const ChainDescription chain = ground.maker.make(order);
  const auto name = [&](std::uint16_t station) {
    return station == nobody ? std::string("the controller") : chain.nodes[station].name;
  };
  trial.counts.chains = 1;
  for (const ClockPair& pair : clock_pairs(ground.protocol, chain)) {
    ++trial.counts.pairs;
    if (trial.breach || pair.least >= 0) continue;
    trial.breach =
        fmt::format("The clock of {} may be {} that of {}, which then misses the edge of a bit by {:.1f} % of it.",
                    name(pair.from), apart(pair.apart_ppm), name(pair.to), -100 * pair.least);
  }
  return trial;
}

Trial try_cost(const TrialGround& ground, const KindOrder& order) {
  Trial trial;
  const ChainDescription chain = ground.maker.make(order);
  const TimeBudget now = time_budget(ground.protocol, chain);
  const CycleBudget& cycle = now.cycle;
  trial.counts.chains = 1;
  trial.breach = no_room_for(chain, now.entries);
  if (!has_new(order)) return trial;
  const KindOrder old = without_new(order);
  std::string before;
  if (!old.empty()) {
    const CycleBudget was = time_budget(ground.protocol, ground.maker.make(old)).cycle;
    before = fmt::format("; without its new nodes a round takes {}, and {}", words::span(was.longest_round.typical()),
                         unread_text(was));
  }
  trial.note = fmt::format("in {} a round takes {}, and {}{}", in_words(chain),
                           words::span(cycle.longest_round.typical()), unread_text(cycle), before);
  if (cycle.one_lost) trial.note_weight = cycle.one_lost->for_longest;
  if (!trial.breach && ground.unread_limit && cycle.one_lost && cycle.one_lost->for_longest > *ground.unread_limit) {
    trial.breach = fmt::format("At {}: {}; the scenario allows {}.", chain.nodes[cycle.one_lost->node].name,
                               unread_text(cycle), words::span(*ground.unread_limit));
  }
  return trial;
}

}  // namespace hopbench
