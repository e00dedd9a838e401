// Exchanges, their hops and the rounds of the plan, as text.
#include <fmt/format.h>

#include <algorithm>
#include <vector>

#include "base/counted.h"
#include "scenario/link_table.h"
#include "view/budget_sections.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

/// Entries of one poll for nodes of one kind.
struct Row {
  std::string what;
  std::string who;
  std::size_t entries = 0;
  const EntryBudget* tightest = nullptr;
  CaseSpans answered;
  Nanos margin = never;
};

Row& row_of(std::vector<Row>& rows, const std::string& what, const std::string& who) {
  for (Row& row : rows) {
    if (row.what == what && row.who == who) return row;
  }
  rows.push_back({what, who, 0, nullptr, {}, never});
  return rows.back();
}

void add_to(Row& row, const EntryBudget& entry) {
  const bool first = row.entries++ == 0;
  for (const BudgetCase which : budget_cases) {
    Nanos& of_row = row.answered[which];
    const Nanos here = entry.answered[which];
    of_row = first ? here : which == BudgetCase::best ? std::min(of_row, here) : std::max(of_row, here);
  }
  if (row.tightest != nullptr && entry.margin.worst() >= row.margin) return;
  row.tightest = &entry;
  row.margin = entry.margin.worst();
}

std::vector<Row> rows_of(const BudgetReport& report) {
  std::vector<Row> rows;
  for (const EntryBudget& each : report.budget.entries) {
    if (!each.awaited()) continue;
    const std::uint16_t node = each.entry.node;
    const std::string who = node == nobody ? "everyone" : report.chain.kinds[report.chain.nodes[node].kind].name;
    const std::string refused = each.frames.reply == Reply::refusal ? " (refused)" : "";
    add_to(row_of(rows, each.entry.name.substr(0, each.entry.name.rfind('/')) + refused, who), each);
  }
  return rows;
}

std::string hop_range(const LinkTable& links, const std::vector<HopBudget>& hops, std::size_t from, std::size_t to) {
  const std::uint16_t first = links[hops[from].link].hop;
  const std::uint16_t last = links[hops[to - 1].link].hop;
  return first == last ? fmt::format("hop {}", first) : fmt::format("hops {} to {}, each", first, last);
}

std::string spans_line(std::string_view what, const CaseSpans& spans) {
  return fmt::format("  {}{:>9}{:>9}{:>9}\n", fitted(what, 46), budget_span(spans.best()), budget_span(spans.typical()),
                     budget_span(spans.worst()));
}

std::string spans_head(std::string_view what) {
  return fmt::format("\n{}{:>9}{:>9}{:>9}\n", fitted(what, 48), "best", "typical", "worst");
}

/// What an exchange takes beside hops, node and waiting.
CaseSpans controller_busy(const EntryBudget& entry) {
  CaseSpans busy;
  for (const BudgetCase which : budget_cases) {
    if (entry.answered[which] == never) continue;
    Nanos left = entry.ask[which] + entry.answered[which] - entry.node[which];
    for (const HopBudget& hop : entry.hops) left -= hop.takes[which];
    busy[which] = which == BudgetCase::worst ? left - entry.behind : left;
  }
  return busy;
}

std::string why_no_more(const LargestChain::Most& most, const std::string& wanted) {
  switch (most.limit) {
    case ChainLimit::round:
      return fmt::format("one more takes over {}", wanted);
    case ChainLimit::time_out:
      return "one more misses the time-out";
    case ChainLimit::addresses:
      return "the bus has no more addresses";
    case ChainLimit::nodes:
      return "no scenario has more";
  }
  return "";
}

std::string largest_chains_text(const BudgetReport& report) {
  if (report.budget.largest.empty()) return "";
  const std::string wanted = budget_span(*report.wish.cycle);
  std::string out = fmt::format("\nLargest chain with a round of {} at most, nodes of one kind alone\n", wanted);
  for (const LargestChain& each : report.budget.largest) {
    const std::string kind = fitted(report.chain.kinds[each.kind].name, 14);
    out += fmt::format("  {}{:>5} nodes typically: {}\n", kind, each.typical.nodes, why_no_more(each.typical, wanted));
    out += fmt::format("  {:<14}{:>5} nodes at worst:  {}\n", "", each.worst.nodes, why_no_more(each.worst, wanted));
  }
  return out;
}

}  // namespace

const EntryBudget* tightest_of(const BudgetReport& report) {
  const EntryBudget* tightest = nullptr;
  for (const EntryBudget& each : report.budget.entries) {
    if (each.awaited() && (tightest == nullptr || each.margin.worst() < tightest->margin.worst())) tightest = &each;
  }
  return tightest;
}

std::string budget_exchanges(const BudgetReport& report) {
  std::string out = fmt::format("Exchanges: from the end of the ask to the answer; time-out {}\n",
                                budget_span(report.chain.controller.time_out));
  const auto rows = rows_of(report);
  if (!rows.empty()) {
    out += fmt::format("  {:<14}{:<10}{:>6}{:>9}{:>9}{:>9}{:>10}  {}\n", "asked", "of kind", "nodes", "best", "typical",
                       "worst", "margin", "least at");
  }
  for (const Row& row : rows) {
    const std::string& name = row.tightest->entry.name;
    const std::size_t slash = name.rfind('/');
    out += fmt::format("{} {}{}{:>6}{:>9}{:>9}{:>9}{:>10}  {}\n", row.margin < 0 ? '!' : ' ', fitted(row.what, 14),
                       fitted(row.who, 10), grouped(row.entries), budget_span(row.answered.best()),
                       budget_span(row.answered.typical()), budget_span(row.answered.worst()), budget_span(row.margin),
                       harmless(name.substr(slash == std::string::npos ? 0 : slash + 1)));
  }
  if (!rows.empty()) {
    out += "  best: the quickest node; typical, worst: the slowest; margin: to the time-out\n";
  }
  for (const EntryBudget& each : report.budget.entries) {
    if (each.frames.reply != Reply::none) continue;
    out += budget_line("! ", fmt::format("{} is never answered; it costs {}.", each.entry.name,
                                         counted(std::uint64_t{report.chain.controller.retries} + 1, "time-out")));
  }
  return out;
}

std::string budget_hops(const BudgetReport& report) {
  const EntryBudget* shown = report.shown ? &report.budget.entries[*report.shown] : tightest_of(report);
  if (shown == nullptr || shown->hops.empty()) return "";
  const LinkTable links(report.chain.shape, report.chain.nodes.size());
  std::string out = spans_head("Hop by hop: " + shown->entry.name + (report.shown ? "" : " (least margin)"));
  const std::vector<HopBudget>& hops = shown->hops;
  bool node_told = false;
  for (std::size_t i = 0; i < hops.size();) {
    if (hops[i].answering && !node_told) {
      out += spans_line(station_name(report.chain, shown->entry.node) + ", until it answers", shown->node);
      node_told = true;
    }
    std::size_t to = i + 1;
    while (to < hops.size() && hops[to].answering == hops[i].answering && hops[to].takes == hops[i].takes) ++to;
    out += spans_line(fmt::format("{} on {}", hops[i].answering ? "answer" : "ask", hop_range(links, hops, i, to)),
                      hops[i].takes);
    i = to;
  }
  const CaseSpans busy = controller_busy(*shown);
  if (busy.worst() > 0) out += spans_line("controller busy with something else", busy);
  if (shown->behind > 0) out += spans_line("waiting behind asks to everyone", {{0, 0, shown->behind}});
  CaseSpans all;
  for (const BudgetCase which : budget_cases) all[which] = sum_of(shown->ask[which], shown->answered[which]);
  return out + spans_line("in all, from the first edge of the ask", all);
}

std::string budget_cycle(const BudgetReport& report) {
  const CycleBudget& cycle = report.budget.cycle;
  std::string out = spans_head("Polling cycle");
  out += spans_line("longest round of the plan", cycle.longest_round);
  if (cycle.mean_round.typical() != cycle.longest_round.typical()) out += spans_line("mean round", cycle.mean_round);
  const auto line = [&](const char* what, const std::string& who, Nanos span) {
    out += fmt::format("  {:<46}{}{:>9}\n", what, fitted(who, 18), budget_span(span));
  };
  line("longest round if all tries fail", "", cycle.all_lost);
  const auto unread = [&](const char* what, const std::optional<UnreadCell>& cell) {
    if (!cell) return;
    line(what, fmt::format("  {} cell {}", report.chain.nodes[cell->node].name, cell->cell), cell->for_longest);
  };
  unread("longest time without a reading, nothing lost", cycle.nothing_lost);
  unread("the same, all tries of one exchange lost", cycle.one_lost);
  if (cycle.nothing_lost && std::any_of(report.budget.entries.begin(), report.budget.entries.end(),
                                        [](const auto& each) { return each.awaited() && each.margin.worst() < 0; })) {
    out += budget_line("! ", "The last two hold if one try of each exchange is in time.");
  }
  const Nanos look = report.chain.controller.balancing.every;
  if (cycle.orders != 0 && cycle.orders != never && cycle.longest_round.worst() == never) {
    out += budget_line("! ", fmt::format("Orders to bleed can take {} at worst, and the controller looks at the "
                                         "balance every {}: they can leave no time for the plan.",
                                         budget_span(cycle.orders), budget_span(look)));
  }
  if (cycle.cells_never_asked > 0) {
    out += budget_line(
        "! ", fmt::format("The plan never reads the voltage of {}.", counted(cycle.cells_never_asked, "cell")));
  }
  return out + largest_chains_text(report);
}

}  // namespace hopbench
