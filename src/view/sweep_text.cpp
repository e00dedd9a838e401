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

std::string share_text(const SweepRow& row) {
  const auto& share = row.share.share;
  if (!share) return "";
  if (row.failed == 0) return fmt::format("0 (at most {})", percent(share->high));
  return fmt::format("{} ({} to {}){}", percent(share->value), percent(share->low), percent(share->high),
                     row.share.by_seeds ? " s" : "");
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
  return {grouped(row.failed), grouped(row.asked), fmt::format("{} of {}", row.failed_runs, row.runs), share_text(row)};
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
  inline static const FailureCells heads{"failed", "of", "seeds", "failed % (95 % interval)"};

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

/// `drawn`: whether there was room for bars.
std::string failures(const Sweep& sweep, const ValueColumns& values, const TableStyle& style, bool& drawn) {
  constexpr std::size_t shortest_bar = 12;
  constexpr std::size_t longest_bar = 40;
  const FailureColumns columns(sweep);
  const std::string heads = "  " + values.heads() + columns.line(FailureColumns::heads);
  const std::size_t left = page_width() - std::min(page_width(), characters_in(heads));
  drawn = left >= shortest_bar;  // without room for them the figures alone must do
  ShareBars bars(std::clamp(left, shortest_bar, longest_bar));
  for (const SweepRow& row : sweep.rows) {
    if (row.share.share) bars.fit(*row.share.share);
  }
  const SweepRow* worst = worst_row(sweep);
  std::string out = "Failed exchanges\n" + heads + (drawn ? bars.ends() : "") + "\n";
  for (const SweepRow& row : sweep.rows) {
    std::string line = mark_of(row, worst, sweep.plan) + values.line(row.values);
    if (row.end == SweepEnd::impossible) {
      line += "  cannot be run";
    } else if (row.end == SweepEnd::stuck) {
      line += "  stuck at one instant (events without end)";
    } else if (!row.share.share) {
      line += "  nothing was asked";
    } else {
      line += columns.line(cells_of_failures(row)) + (drawn ? bars.bar(*row.share.share) : "");
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
  std::string out = fmt::format("\nRound trip, and longest time without a reading of a cell\n  {}{:>9}{:>9}{:>9}  {}\n",
                                columns.heads(), "median", "99 %", "longest", "without a reading");
  for (const SweepRow& row : sweep.rows) {
    if (!was_run(row)) continue;
    out += fmt::format("  {}{:>9}{:>9}{:>9}  {}\n", columns.line(row.values), short_span(row.median),
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
    out += paragraph(2, columns.line(row.values) + "  ", list);
  }
  return out.empty() ? out : "\nCauses of failed tries (known because the chain is simulated)\n" + out;
}

std::string point_text(const SweepPlan& plan, const std::vector<std::string>& values) {
  std::string point;
  for (std::size_t i = 0; i < values.size(); ++i)
    point += fmt::format("{}{}={}", i > 0 ? " " : "", plan.varied[i].path, values[i]);
  return point;
}

std::string problems(const Sweep& sweep) {
  std::string out;
  for (const SweepRow& row : sweep.rows) {
    if (row.end == SweepEnd::impossible) out += paragraph(2, "", point_text(sweep.plan, row.values) + ": " + row.why);
  }
  return out.empty() ? out : "\nPoints that cannot be run\n" + out;
}

std::string not_run(const Sweep& sweep) {
  constexpr std::size_t most_named = 20;
  const auto missing = sweep.points_not_run();
  if (missing.empty()) return "";
  std::string out =
      fmt::format("\nNot run yet: {} of {}\n", grouped(missing.size()), counted(sweep.plan.points(), "point"));
  for (std::size_t i = 0; i < std::min(missing.size(), most_named); ++i)
    out += paragraph(2, "", point_text(sweep.plan, sweep.plan.values_at(missing[i])));
  const std::size_t left = missing.size() - std::min(missing.size(), most_named);
  return left == 0 ? out : out + fmt::format("  and {} more (--json names them all)\n", grouped(left));
}

std::string marks(const Sweep& sweep) {
  std::string out;
  const std::size_t points = points_measured(sweep);
  if (worst_row(sweep) != nullptr) {
    out += points < sweep.plan.points() ? fmt::format("  > worst of the {} that {} run\n", counted(points, "point"),
                                                      points == 1 ? "was" : "were")
                                        : std::string("  > worst point\n");
  }
  const auto any = [&](auto which) { return std::any_of(sweep.rows.begin(), sweep.rows.end(), which); };
  if (any([&](const SweepRow& row) { return row.runs < sweep.plan.seeds; })) out += "  * not all seeds were run\n";
  if (any([](const SweepRow& row) { return row.share.by_seeds; })) {
    out += paragraph(2, "",
                     "s seeds differ by more than chance (p < 0.05): the interval comes from the spread of the "
                     "seeds, not from the number of exchanges");
  }
  return out;
}

}  // namespace

const SweepRow* worst_row(const Sweep& sweep) {
  const SweepRow* worst = nullptr;
  double most = 0;
  for (const SweepRow& row : sweep.rows) {
    if (!row.share.share || row.asked < least_trials || row.share.share->value <= most) continue;
    most = row.share.share->value;
    worst = &row;
  }
  return worst;
}

std::size_t points_measured(const Sweep& sweep) {
  return static_cast<std::size_t>(std::count_if(sweep.rows.begin(), sweep.rows.end(), was_run));
}

std::string sweep_text(const Sweep& sweep, const TableStyle& style) {
  const SweepPlan& plan = sweep.plan;
  const ValueColumns columns(plan);
  const std::string seeds = plan.seeds == 1
                                ? fmt::format("seed {}", plan.first_seed)
                                : fmt::format("seeds {} to {}", plan.first_seed, plan.first_seed + plan.seeds - 1);
  const std::string part = sweep.runs < plan.runs()
                               ? fmt::format("{} of {} so far", grouped(sweep.runs), counted(plan.runs(), "run"))
                               : counted(sweep.runs, "run");
  const Reality reality = plan.reality();
  std::string out = paragraph(0, "",
                              fmt::format("{}: a sweep of {} over {}, {}, {}.", at_top(reality),
                                          harmless(plan.scenario), counted(plan.points(), "point"), seeds, part));
  if (sweep.rows.empty()) return out + not_run(sweep);
  bool drawn = false;
  out += "\n" + failures(sweep, columns, style, drawn) + marks(sweep);
  if (drawn) {
    out += paragraph(2, "",
                     "Bars, on a logarithmic scale: # the share that failed, - up to the upper end of its interval.");
  }
  out += paragraph(2, "", "The interval is exact if failures come one by one; bursts make it too narrow.");
  return out + times(sweep, columns) + causes(sweep, columns) + problems(sweep) + not_run(sweep) + "\n" +
         paragraph(0, "", std::string(caution_of(reality)));
}

}  // namespace hopbench
