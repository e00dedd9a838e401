#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <utility>
#include <vector>

#include "judge/limits.h"
#include "seen/reality.h"
#include "study/words.h"
#include "view/number_text.h"
#include "view/paragraph.h"
#include "view/summary.h"
#include "view/summary_parts.h"

namespace hopbench {
namespace {

constexpr std::size_t most_told = 3;  // of a list that may be long

std::string hop_name(const LinkInfo& link) {
  return fmt::format("{} ({} -> {})", link.hop, harmless(link.from), harmless(link.to));
}

/// The link that loses the largest share of its frames; none if none loses any.
std::optional<std::size_t> worst_link(const Summary& summary) {
  std::optional<std::size_t> worst;
  double worst_share = 0;
  const auto& links = summary.measures.links;
  for (std::size_t i = 0; i < std::min(links.size(), summary.run.links.size()); ++i) {
    const auto share = share_of(lost(links[i]), links[i].frames_in);
    if (links[i].frames_in < least_trials) continue;
    if (share && share->value > worst_share) {
      worst = i;
      worst_share = share->value;
    }
  }
  return worst;
}

std::string headline(const Summary& summary, std::optional<std::size_t> worst) {
  const auto& all = summary.measures.all;
  std::string text = fmt::format("{}: {} {} asked in {}", at_top(reality_of(summary.run)),
                                 counted(all.asked, "exchange"), were(all.asked), long_span(summary.seen_time()));
  if (all.asked == 0) return text + ".";
  const auto answered = all[Outcome::answered];
  text += fmt::format(" and {} answered", grouped(answered));
  if (all.asked >= least_trials) {
    text += fmt::format(" ({} %)", percent(static_cast<double>(answered) / static_cast<double>(all.asked)));
  }
  text += '.';
  if (!worst) {
    const auto& links = summary.measures.links;
    const bool any = std::any_of(links.begin(), links.end(), [](const auto& link) { return lost(link) > 0; });
    return text + (any ? fmt::format(" Frames were lost, but only on hops that carried fewer than {}.", least_trials)
                       : " No hop lost a frame.");
  }
  const auto& link = summary.measures.links[*worst];
  const auto share = share_of(lost(link), link.frames_in);
  return text + fmt::format(" Worst hop: {} lost {} of {}, {} % (95 % interval {} to {} %).",
                            hop_name(summary.run.links[*worst]), grouped(lost(link)), counted(link.frames_in, "frame"),
                            percent(share->value), percent(share->low), percent(share->high));
}

std::string outcomes(const ExchangeMeasures& all) {
  std::vector<std::string> parts;
  for (std::size_t i = 0; i < outcome_count; ++i) {
    if (all.outcomes[i] > 0) {
      parts.push_back(fmt::format("{} {}", words::spaced(name_of(static_cast<Outcome>(i))), grouped(all.outcomes[i])));
    }
  }
  if (all.unknown_outcomes() > 0) parts.push_back("unknown " + grouped(all.unknown_outcomes()));
  return fmt::format("{}; {}", listed(parts), counted(all.tries, "try", "tries"));
}

std::string round_trip(const Histogram& times) {
  if (times.count() == 0) return "none";
  return fmt::format("median {}, 90 % {}, 99 % {}, longest {}", short_span(times.percentile(500'000)),
                     short_span(times.percentile(900'000)), short_span(times.percentile(990'000)),
                     short_span(times.most()));
}

/// Where an instant of one of several captures is meant.
std::string in_capture(const Summary& summary, std::uint32_t run) {
  return summary.captures > 1 ? fmt::format(" of capture {}", run + 1) : "";
}

std::string bursts(const Summary& summary) {
  const auto& measures = summary.measures.bursts;
  const auto longest = measures.longest_of_all();
  if (!longest) return "";
  const std::uint64_t alone = measures.lengths()[0];
  const std::uint64_t together = measures.count() - alone;
  if (together == 0) return fmt::format("no two failures in a row; {}", counted(alone, "single failure"));
  auto text =
      fmt::format("{} of two or more failures in a row, the longest {}", grouped(together), grouped(longest->length));
  if (longest->from_known) {
    text += fmt::format(" (at {}{})", instant_text(longest->from), in_capture(summary, longest->run));
  }
  return text + "; " + counted(alone, "single failure");
}

std::string cells_of(const Summary& summary, const CellsUnseen& group) {
  const auto cells = group.cells == 1 ? fmt::format("cell {}", group.first_cell)
                                      : fmt::format("cells {} to {}", group.first_cell,
                                                    std::uint64_t{group.first_cell} + group.cells - 1);
  const auto node = group.node < summary.run.nodes.size() ? harmless(summary.run.nodes[group.node]) : "?";
  return fmt::format("{}, {}", node, cells);
}

std::string unseen(const Summary& summary) {
  const auto groups = by_time_unseen(summary.measures);
  if (groups.empty()) return "";
  const auto never = std::count_if(groups.begin(), groups.end(), [](const auto* group) { return !group->ever_seen; });
  if (never > 0) {
    std::string text = fmt::format("never read: {}", cells_of(summary, *groups[0]));
    for (std::size_t i = 1; i < std::min<std::size_t>(static_cast<std::size_t>(never), most_told); ++i) {
      text += fmt::format("; {}", cells_of(summary, *groups[i]));
    }
    const auto rest =
        static_cast<std::size_t>(never) - std::min<std::size_t>(static_cast<std::size_t>(never), most_told);
    return rest == 0 ? text
                     : text + fmt::format("; and {}", counted(rest, "more group of cells", "more groups of cells"));
  }
  const auto longest = summary.measures.longest_unseen(*groups[0]);
  return fmt::format("longest time without one: {} ({}, from {}{})", long_span(longest.span),
                     cells_of(summary, *groups[0]), instant_text(longest.from), in_capture(summary, longest.run));
}

/// How long rounds of the plan took; empty where that is not known.
std::string rounds(const Histogram& lengths) {
  if (lengths.count() == 0) return "";
  return fmt::format("{}: median {}, 99 % {}, longest {}", counted(lengths.count(), "polling round"),
                     short_span(lengths.percentile(500'000)), short_span(lengths.percentile(990'000)),
                     short_span(lengths.most()));
}

std::string late_by(const Histogram& times) {
  if (times.count() == 0) return "";
  return fmt::format("median {}, 99 % {}, longest {} after the time-out ({})", short_span(times.percentile(500'000)),
                     short_span(times.percentile(990'000)), short_span(times.most()),
                     counted(times.count(), "late answer"));
}

/// The hop that frames occupied for the largest share of the time.
std::string line_used(const Summary& summary) {
  const auto& links = summary.measures.links;
  std::optional<double> most;
  std::size_t where = 0;
  for (std::size_t i = 0; i < std::min(links.size(), summary.run.links.size()); ++i) {
    const auto share = used_share(summary, links[i]);
    if (!share || (most && *share <= *most)) continue;
    most = share;
    where = i;
  }
  if (!most) return "";
  return fmt::format("at most {} % of the time, on hop {}", percent(*most), hop_name(summary.run.links[where]));
}

/// The figures of all exchanges together, each with what it is called; without a text where there is nothing to tell.
std::vector<std::pair<const char*, std::string>> figures(const Summary& summary) {
  const auto& measures = summary.measures;
  return {{"Outcomes", outcomes(measures.all)},
          {"Round trip", round_trip(measures.all.round_trip)},
          {"Late by", summary.rounds == nullptr ? "" : late_by(summary.rounds->late_by)},
          {"Rounds", summary.rounds == nullptr ? "" : rounds(summary.rounds->lengths)},
          {"Line used", line_used(summary)},
          {"Bursts", bursts(summary)},
          {"Readings", unseen(summary)}};
}

std::string causes(const CauseCounts& counts) {
  std::vector<std::pair<std::uint64_t, std::size_t>> rows;
  for (std::size_t i = 0; i < counts.tries.size(); ++i) {
    if (counts.tries[i] > 0) rows.emplace_back(counts.tries[i], i);
  }
  if (rows.empty()) return "";
  std::stable_sort(rows.begin(), rows.end(), [](const auto& a, const auto& b) { return a.first > b.first; });
  std::string out = "\nCauses of failed tries (known because the chain is simulated)\n";
  for (const auto& [count, cause] : rows) {
    out += fmt::format("  {:>11}  {}\n", grouped(count), words::spaced(name_of(static_cast<Cause>(cause))));
  }
  return out;
}

std::string strikes(const Summary& summary) {
  const auto& counts = summary.causes->strikes;
  std::string out;
  for (std::size_t i = 0; i < counts.size() && i < summary.run.faults.size(); ++i) {
    out += fmt::format("  {:>11}  {}\n", grouped(counts[i]), harmless(summary.run.faults[i]));
  }
  return out.empty() ? "" : "\nFrames that injected faults hit, with or without harm\n" + out;
}

}  // namespace

std::string summary_table(const Summary& summary, const TableStyle& style) {
  const auto worst = worst_link(summary);
  std::string out = summary.captures > 1
                        ? fmt::format("{}, {} captures, the first of seed {}\n", harmless(summary.run.scenario),
                                      summary.captures, summary.run.seed)
                        : fmt::format("{}, seed {}\n", harmless(summary.run.scenario), summary.run.seed);
  out += paragraph(0, "", headline(summary, worst));
  out += '\n';
  if (summary.measures.all.asked > 0) {
    for (const auto& [lead, text] : figures(summary)) {
      if (!text.empty()) out += paragraph(0, fmt::format("{:<12}", lead), text);
    }
    out += '\n';
  }
  out += hop_table(summary, worst, style);
  if (summary.measures.all.asked > 0) out += "\n" + node_table(summary, style);
  if (summary.causes != nullptr) out += causes(*summary.causes) + strikes(summary);
  if (const auto more = trouble_text(summary); !more.empty()) out += "\n" + more;
  const auto reality = reality_of(summary.run);
  if (anything_simulated(reality)) out += "\n" + paragraph(0, "", std::string(caution_of(reality)));
  return out;
}

}  // namespace hopbench
