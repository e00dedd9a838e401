#include <fmt/format.h>

#include <algorithm>
#include <vector>

#include "judge/limits.h"
#include "seen/reality.h"
#include "study/words.h"
#include "view/number_text.h"
#include "view/paragraph.h"
#include "view/share_bars.h"
#include "view/sweep_report.h"
#include "view/value_columns.h"

namespace hopbench {
namespace {

bool was_run(const SweepRow& row) { return row.end == SweepEnd::done && row.asked > 0; }

std::string share_text(const SweepRow& row, const Share& share) {
  if (row.failed == 0) return fmt::format("0 (at most {})", percent(share.high));
  return fmt::format("{} ({} to {})", percent(share.value), percent(share.low), percent(share.high));
}

const SweepRow* worst_of(const Sweep& sweep) {
  const SweepRow* worst = nullptr;
  double most = 0;
  for (const SweepRow& row : sweep.rows) {
    const auto share = share_of(row.failed, row.asked);
    if (!share || row.asked < least_trials || share->value <= most) continue;
    most = share->value;
    worst = &row;
  }
  return worst;
}

std::string mark_of(const SweepRow& row, const SweepRow* worst, const SweepPlan& plan) {
  return std::string(&row == worst ? ">" : " ") + (row.runs < plan.seeds ? "*" : " ");
}

/// What stands in a row between its values and its bar; of heads and of points without figures as well.
struct FailureCells {
  std::string failed;
  std::string asked;
  std::string in_seeds;
  std::string share;
};

FailureCells cells_of_failures(const SweepRow& row) {
  const auto share = share_of(row.failed, row.asked);
  return {grouped(row.failed), grouped(row.asked), fmt::format("{} of {}", row.failed_runs, row.runs),
          share ? share_text(row, *share) : ""};
}

/// How wide they are, so that as much as can be is left for the bars.
class FailureColumns {
 public:
  explicit FailureColumns(const Sweep& sweep) : several_(sweep.plan.seeds > 1) {
    widen(heads);
    for (const SweepRow& row : sweep.rows) widen(cells_of_failures(row));
  }
  [[nodiscard]] std::string line(const FailureCells& cells) const {
    return fmt::format("  {:>{}}  {:>{}}{}  {:<{}}  ", cells.failed, failed_, cells.asked, asked_,
                       several_ ? fmt::format("  {:>{}}", cells.in_seeds, in_seeds_) : "", cells.share, share_);
  }
  inline static const FailureCells heads{"failed", "of", "in seeds", "failed % (95 % interval)"};

 private:
  void widen(const FailureCells& cells) {
    failed_ = std::max(failed_, cells.failed.size());
    asked_ = std::max(asked_, cells.asked.size());
    in_seeds_ = std::max(in_seeds_, cells.in_seeds.size());
    share_ = std::max(share_, cells.share.size());
  }
  bool several_;
  std::size_t failed_ = 0;
  std::size_t asked_ = 0;
  std::size_t in_seeds_ = 0;
  std::size_t share_ = 0;
};

std::string failures(const Sweep& sweep, const ValueColumns& values, const TableStyle& style) {
  constexpr std::size_t shortest_bar = 12;
  constexpr std::size_t longest_bar = 40;
  const FailureColumns columns(sweep);
  const std::string heads = "  " + values.heads() + columns.line(FailureColumns::heads);
  const std::size_t left = page_width - std::min(page_width, characters_in(heads));
  ShareBars bars(std::clamp(left, shortest_bar, longest_bar));
  for (const SweepRow& row : sweep.rows) {
    if (const auto share = share_of(row.failed, row.asked)) bars.fit(*share);
  }
  const SweepRow* worst = worst_of(sweep);
  std::string out = "Failed exchanges\n" + heads + bars.ends() + "\n";
  for (const SweepRow& row : sweep.rows) {
    std::string line = mark_of(row, worst, sweep.plan) + values.line(row.values);
    const auto share = share_of(row.failed, row.asked);
    if (row.end == SweepEnd::impossible) {
      line += "  cannot be run";
    } else if (row.end == SweepEnd::stuck) {
      line += "  goes round without time passing";
    } else if (!share) {
      line += "  nothing was asked";
    } else {
      line += columns.line(cells_of_failures(row)) + bars.bar(*share);
    }
    line.erase(line.find_last_not_of(' ') + 1);
    out += &row == worst && style.colour ? "\x1b[1m" + line + "\x1b[0m\n" : line + "\n";
  }
  return out;
}

std::string unseen_text(const SweepRow& row, const SweepPlan& plan) {
  if (!row.unseen) return "-";
  const std::string seed = plan.seeds > 1 ? fmt::format(", seed {}", row.unseen_seed) : "";
  const std::string where = fmt::format("({}, cell {}{})", harmless(row.unseen->node), row.unseen->cell, seed);
  return (row.unseen->never ? "never read " : long_span(row.unseen->span) + " ") + where;
}

std::string times(const Sweep& sweep, const ValueColumns& columns) {
  std::string out =
      fmt::format("\nRound trip, and longest time without a reading of a cell\n  {}{:>11}{:>11}{:>11}  {}\n",
                  columns.heads(), "median", "99 %", "longest", "without a reading");
  for (const SweepRow& row : sweep.rows) {
    if (!was_run(row)) continue;
    out += fmt::format("  {}{:>11}{:>11}{:>11}  {}\n", columns.line(row.values), short_span(row.median),
                       short_span(row.within_99), short_span(row.longest), unseen_text(row, sweep.plan));
  }
  return out;
}

std::string causes(const Sweep& sweep, const ValueColumns& columns) {
  std::string out;
  for (const SweepRow& row : sweep.rows) {
    auto found = row.causes;
    std::stable_sort(found.begin(), found.end(), [](const auto& a, const auto& b) { return a.second > b.second; });
    std::string list;
    for (const auto& [cause, tries] : found)
      list += fmt::format("{}{} {}", list.empty() ? "" : ", ", words::spaced(name_of(cause)), grouped(tries));
    if (list.empty()) continue;
    const std::string lead = "  " + columns.line(row.values) + "  ";
    out += lead + list + "\n";
  }
  return out.empty() ? out : "\nCauses of failed tries (known because the chain is simulated)\n" + out;
}

std::string problems(const Sweep& sweep) {
  std::string out;
  for (const SweepRow& row : sweep.rows) {
    if (row.end != SweepEnd::impossible) continue;
    std::string point;
    for (std::size_t i = 0; i < row.values.size(); ++i)
      point += fmt::format("{}{}={}", i > 0 ? " " : "", sweep.plan.varied[i].path, row.values[i]);
    out += paragraph(2, "", point + ": " + row.why);
  }
  return out.empty() ? out : "\nPoints that cannot be run\n" + out;
}

}  // namespace

std::string sweep_text(const Sweep& sweep, const TableStyle& style) {
  const SweepPlan& plan = sweep.plan;
  const ValueColumns columns(plan);
  const std::string seeds = plan.seeds == 1
                                ? fmt::format("seed {}", plan.first_seed)
                                : fmt::format("seeds {} to {}", plan.first_seed, plan.first_seed + plan.seeds - 1);
  const std::size_t points = plan.points();
  const std::string part = sweep.runs < plan.runs()
                               ? fmt::format("; {} of {} runs were made", grouped(sweep.runs), grouped(plan.runs()))
                               : fmt::format(", {} {}", grouped(sweep.runs), sweep.runs == 1 ? "run" : "runs");
  std::string out =
      paragraph(0, "",
                fmt::format("{}: a sweep of {} over {} {}, {}{}.", at_top(Reality::simulated), harmless(plan.scenario),
                            grouped(points), points == 1 ? "point" : "points", seeds, part));
  if (sweep.rows.empty()) return out;
  out += "\n" + failures(sweep, columns, style);
  const bool lacking =
      std::any_of(sweep.rows.begin(), sweep.rows.end(), [&](const SweepRow& row) { return row.runs < plan.seeds; });
  if (worst_of(sweep) != nullptr) out += "  > worst point\n";
  if (lacking) out += "  * some of its seeds are missing\n";
  out += paragraph(2, "",
                   "Bars, on a logarithmic scale: # the share that failed, - up to the upper end of its interval. The "
                   "interval is exact if failures come one by one; bursts make it too narrow.");
  return out + times(sweep, columns) + causes(sweep, columns) + problems(sweep) + "\n" +
         std::string(caution_of(Reality::simulated)) + "\n";
}

}  // namespace hopbench
