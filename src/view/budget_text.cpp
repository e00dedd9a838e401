#include <fmt/format.h>

#include <algorithm>

#include "base/counted.h"
#include "view/budget_sections.h"
#include "view/number_text.h"
#include "view/paragraph.h"

namespace hopbench {
namespace {

template <class Range, class Bad>
std::size_t count_of(const Range& range, Bad bad) {
  return static_cast<std::size_t>(std::count_if(range.begin(), range.end(), bad));
}

std::string share(std::size_t count, std::size_t all, const char* one, const char* many) {
  return fmt::format("{} of {} {}", grouped(count), grouped(all), all == 1 ? one : many);
}

/// What cannot work even if everything is as stated and nothing is in the way.
std::string never_works(const BudgetReport& report) {
  const Budget& budget = report.budget;
  std::string out;
  const auto say = [&](std::size_t count, const std::string& what) {
    if (count > 0) out += paragraph(0, "CANNOT WORK: ", what, budget_width);
  };
  const std::size_t awaited = count_of(budget.entries, [](const auto& each) { return each.awaited(); });
  say(budget.late_at_best(), fmt::format("{} cannot meet the time-out of {}, even if nothing is in the way.",
                                         share(budget.late_at_best(), awaited, "exchange", "exchanges"),
                                         budget_span(report.chain.controller.time_out)));
  say(budget.without_room(), fmt::format("{} must hold a frame that is longer than the buffer.",
                                         share(budget.without_room(), report.chain.nodes.size(), "node", "nodes")));
  say(budget.out_of_tolerance(),
      fmt::format("{} out of tolerance, as the scenario states the clocks.",
                  share(budget.out_of_tolerance(), budget.pairs.size(), "pair of clocks is", "pairs of clocks are")));
  return out;
}

/// What fails only if all that can come together does.
std::string fails_at_worst(const BudgetReport& report) {
  const Budget& budget = report.budget;
  std::string out;
  const auto late = [](const EntryBudget& each) { return each.awaited() && each.margin.worst() < 0; };
  const std::size_t late_ones = count_of(budget.entries, late);
  const EntryBudget* tightest = tightest_of(report);
  if (late_ones > budget.late_at_best()) {
    const std::size_t awaited = count_of(budget.entries, [](const auto& each) { return each.awaited(); });
    const Nanos margin = tightest->margin.worst();
    const std::string by = margin == -never ? "nothing bounds by how much" : "by " + budget_span(-margin) + " at most";
    out += budget_line("! ", fmt::format("{} can miss the time-out of {} at worst, {} ({}).",
                                         share(late_ones, awaited, "exchange", "exchanges"),
                                         budget_span(report.chain.controller.time_out), by, tightest->entry.name));
  }
  const auto apart = [](const ClockPair& each) { return each.least < 0; };
  const std::size_t apart_ones = count_of(budget.pairs, apart);
  if (apart_ones > budget.out_of_tolerance()) {
    const auto worst = std::min_element(budget.pairs.begin(), budget.pairs.end(),
                                        [](const auto& a, const auto& b) { return a.least < b.least; });
    out += budget_line(
        "! ", fmt::format("{} out of tolerance at worst, the farthest {}. The times below assume that "
                          "all frames are heard.",
                          share(apart_ones, budget.pairs.size(), "pair of clocks can be", "pairs of clocks can be"),
                          pair_name(report.chain, *worst)));
  }
  return out;
}

}  // namespace

std::string budget_line(const std::string& lead, const std::string& text) {
  return paragraph(0, lead, text, budget_width);
}

std::string budget_span(Nanos span) {
  if (span == never || span == -never) return "no bound";
  if (span < 0) return "-" + short_span(-span);
  return span < 120 * second ? short_span(span) : long_span(span);
}

std::string budget_verdict(const BudgetReport& report) {
  std::string out = never_works(report) + fails_at_worst(report);
  const std::size_t unanswered = report.budget.never_answered();
  if (unanswered > 0) {
    out += budget_line("! ", fmt::format("{} never answered.", share(unanswered, report.budget.entries.size(),
                                                                     "exchange is", "exchanges are")));
  }
  if (!out.empty()) return out;
  return budget_line("",
                     "Nothing fails, even at worst: all exchanges meet the time-out, all frames fit, and all clocks "
                     "are in tolerance.");
}

std::string budget_text(const BudgetReport& report) {
  std::string out =
      budget_line("", fmt::format("Budget of {}: {} on {}, {} Bd.", report.chain.name,
                                  counted(report.chain.nodes.size(), "node"), report.bus.name, report.bus.line.baud));
  out += "Worked out from the scenario; nothing was simulated or measured.\n\n";
  return out + budget_verdict(report) + "\n" + budget_exchanges(report) + budget_hops(report) + budget_cycle(report) +
         budget_buffers(report) + budget_clocks(report) + budget_checks(report);
}

}  // namespace hopbench
