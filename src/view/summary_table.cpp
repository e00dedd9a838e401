#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <utility>
#include <vector>

#include "judge/limits.h"
#include "seen/reality.h"
#include "study/words.h"
#include "view/file_trouble.h"
#include "view/number_text.h"
#include "view/port_notes.h"
#include "view/summary.h"

namespace hopbench {
namespace {

/// Behind a number of things: "is" or "are".
const char* are(std::uint64_t count) { return count == 1 ? "is" : "are"; }
const char* were(std::uint64_t count) { return count == 1 ? "was" : "were"; }

constexpr std::size_t width = 100;
constexpr std::size_t most_told = 3;  // of a list that may be long

/// Words over as many lines as it takes; later ones begin with `indent` spaces.
std::string wrapped(const std::string& text, std::size_t indent) {
  std::string out;
  std::size_t column = 0;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t space = std::min(text.find(' ', at), text.size());
    const std::string word = text.substr(at, space - at);
    if (column > 0 && column + 1 + word.size() > width) {
      out += '\n';
      out.append(indent, ' ');
      column = indent;
    } else if (at > 0) {
      out += ' ';
      ++column;
    }
    out += word;
    column += word.size();
    at = space + 1;
  }
  return out + "\n";
}

std::string joined(const std::vector<std::string>& parts) {
  std::string out;
  for (const auto& part : parts) out += (out.empty() ? "" : ", ") + part;
  return out;
}

std::string hop_name(const LinkInfo& link) {
  return fmt::format("{} ({} -> {})", link.hop, harmless(link.from), harmless(link.to));
}

std::uint64_t lost(const LinkMeasures& link) { return link.frames_in - link.frames_out; }

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
  return fmt::format("Outcomes    {}; {}", joined(parts), counted(all.tries, "try", "tries"));
}

std::string round_trip(const Histogram& times) {
  if (times.count() == 0) return "Round trip  none";
  return fmt::format("Round trip  median {}, 90 % {}, 99 % {}, longest {}", short_span(times.percentile(500'000)),
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
  if (together == 0) return fmt::format("Bursts      no two failures in a row; {}", counted(alone, "single failure"));
  auto text = fmt::format("Bursts      {} of two or more failures in a row, the longest {}", grouped(together),
                          grouped(longest->length));
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
    std::string text = fmt::format("Readings    never read: {}", cells_of(summary, *groups[0]));
    for (std::size_t i = 1; i < std::min<std::size_t>(static_cast<std::size_t>(never), most_told); ++i) {
      text += fmt::format("; {}", cells_of(summary, *groups[i]));
    }
    const auto rest =
        static_cast<std::size_t>(never) - std::min<std::size_t>(static_cast<std::size_t>(never), most_told);
    return rest == 0 ? text
                     : text + fmt::format("; and {}", counted(rest, "more group of cells", "more groups of cells"));
  }
  const auto longest = summary.measures.longest_unseen(*groups[0]);
  return fmt::format("Readings    longest time without one: {} ({}, from {}{})", long_span(longest.span),
                     cells_of(summary, *groups[0]), instant_text(longest.from), in_capture(summary, longest.run));
}

std::string lost_text(const LinkMeasures& link) {
  const auto share = share_of(lost(link), link.frames_in);
  if (!share) return "-";
  return fmt::format("{} ({} to {})", percent(share->value), percent(share->low), percent(share->high));
}

/// What went wrong on the link, in words; empty if nothing did.
std::string seen_text(const LinkMeasures& link, std::uint64_t undetected) {
  std::vector<std::string> parts;
  for (std::size_t i = 1; i < symptom_count; ++i) {
    if (link.symptoms[i] > 0) {
      parts.push_back(fmt::format("{} {}", words::spaced(name_of(static_cast<Symptom>(i))), grouped(link.symptoms[i])));
    }
  }
  if (link.unknown_symptoms() > 0) parts.push_back("unknown " + grouped(link.unknown_symptoms()));
  if (link.came_damaged > 0) parts.push_back(fmt::format("damaged before {}", grouped(link.came_damaged)));
  if (link.strays > 0) parts.push_back(fmt::format("of no exchange {}", grouped(link.strays)));
  if (undetected > 0)
    parts.push_back(fmt::format("undetected {} (known because the chain is simulated)", grouped(undetected)));
  return joined(parts);
}

std::string hop_rows(const Summary& summary, std::optional<std::size_t> worst, const TableStyle& style) {
  std::string out = fmt::format("  {:>3}  {:<22}  {:>11}  {:<27}  {:>7}  {:>7}  {:>7}\n", "hop", "from -> to", "frames",
                                "lost % (95 % interval)", "median", "99 %", "longest");
  const auto& links = summary.measures.links;
  for (std::size_t i = 0; i < std::min(links.size(), summary.run.links.size()); ++i) {
    const auto& info = summary.run.links[i];
    const auto& link = links[i];
    const bool mark = worst == i;
    const auto share = lost_text(link);
    const auto frames = grouped(link.frames_in);
    // Very large numbers and very small shares are long; the names give way.
    const std::size_t more =
        std::max<std::size_t>(share.size(), 27) - 27 + std::max<std::size_t>(frames.size(), 11) - 11;
    std::string row =
        fmt::format("{} {:>3}  {}  {:>11}  {:<27}  {:>7}  {:>7}  {:>7}", mark ? '>' : ' ', info.hop,
                    fitted(fmt::format("{} -> {}", info.from, info.to), 22 - std::min<std::size_t>(14, more)), frames,
                    share, short_span(link.transit.percentile(500'000)), short_span(link.transit.percentile(990'000)),
                    short_span(link.transit.most()));
    out += mark && style.colour ? "\x1b[1m" + row + "\x1b[0m\n" : row + "\n";
    const bool known = summary.causes != nullptr && i < summary.causes->undetected.size();
    const auto seen = seen_text(link, known ? summary.causes->undetected[i] : 0);
    if (!seen.empty()) out += wrapped("       seen: " + seen, 13);
  }
  return out;
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

std::string trouble(const Summary& summary) {
  std::string out;
  const auto& capture = summary.capture;
  CaptureDamage files;
  files.segments_missing = capture.files_missing;
  files.segments_misplaced = capture.files_misplaced;
  files.segments_cut = capture.files_cut;
  if (files.bad_segments() > 0) out += wrapped(fmt::format("The capture is damaged: {}.", file_trouble(files)), 0);
  if (capture.bytes_skipped > 0 || capture.records_missing > 0) {
    const auto missing = records_missing(capture.bytes_skipped, capture.records_missing);
    out += wrapped(
        fmt::format("The capture is damaged: {} {} skipped{}.", counted(capture.bytes_skipped, "byte"),
                    were(capture.bytes_skipped),
                    missing ? fmt::format(" and at least {} {} missing", counted(*missing, "record"), are(*missing))
                            : ", and how many records they held cannot be told"),
        0);
  }
  if (capture.causes_unreadable > 0) {
    out += wrapped(fmt::format("The causes of {} cannot be read.", counted(capture.causes_unreadable, "exchange")), 0);
  }
  const auto& coverage = summary.coverage;
  if (coverage.tallied > 0) {
    out += wrapped(
        coverage.tallied_unanswered == 0
            ? fmt::format("{} of the exchanges come from tallies; all were answered, and count in every figure.",
                          grouped(coverage.tallied))
            : fmt::format("{} of the exchanges come from tallies, and {} of these failed. They count in every "
                          "figure, but the causes are those of the other failures only.",
                          grouped(coverage.tallied), grouped(coverage.tallied_unanswered)),
        0);
  }
  if (coverage.unreadable > 0) {
    out += wrapped(fmt::format("Tallies of {} cannot be read; nothing of them is in any figure.",
                               counted(coverage.unreadable, "exchange")),
                   0);
  }
  if (coverage.dropped > 0) {
    out += wrapped(
        fmt::format("{} {} missing from the capture.", counted(coverage.dropped, "record"), are(coverage.dropped)), 0);
  }
  if (coverage.holes > 0) {
    out += wrapped(fmt::format("{} in {} {} missing from the capture: what happened then is in no figure.",
                               long_span(coverage.hole_time), counted(coverage.holes, "place"), are(coverage.holes)),
                   0);
  }
  if (coverage.gaps > 0) {
    out += wrapped(fmt::format("Nothing was seen for {} in {}; bursts go on across, times without a reading do not.",
                               long_span(coverage.gap_time), counted(coverage.gaps, "gap")),
                   0);
  }
  if (coverage.ambiguous > 0) {
    out += wrapped(fmt::format("In {} what was heard fits another one as well: which it belongs to is a guess there.",
                               counted(coverage.ambiguous, "exchange")),
                   0);
  }
  if (coverage.doubtful > 0) {
    out += wrapped(fmt::format("In {} the bench was so late at the port that this may have decided the outcome; "
                               "no verdict rests on these.",
                               counted(coverage.doubtful, "exchange")),
                   0);
  }
  if (!summary.run.simulated) out += port_notes(summary.measures.lateness, 0);
  return out;
}

}  // namespace

std::string summary_table(const Summary& summary, const TableStyle& style) {
  const auto worst = worst_link(summary);
  std::string out = summary.captures > 1
                        ? fmt::format("{}, {} captures, the first of seed {}\n", harmless(summary.run.scenario),
                                      summary.captures, summary.run.seed)
                        : fmt::format("{}, seed {}\n", harmless(summary.run.scenario), summary.run.seed);
  out += wrapped(headline(summary, worst), 0);
  out += '\n';
  if (summary.measures.all.asked > 0) {
    out += wrapped(outcomes(summary.measures.all), 12);
    out += wrapped(round_trip(summary.measures.all.round_trip), 12);
    for (const auto& line : {bursts(summary), unseen(summary)}) {
      if (!line.empty()) out += wrapped(line, 12);
    }
    out += '\n';
  }
  out += hop_rows(summary, worst, style);
  out += "  median, 99 % and longest: time that frames heard well took on the hop. Intervals: exact.\n";
  if (summary.causes != nullptr) out += causes(*summary.causes) + strikes(summary);
  if (const auto more = trouble(summary); !more.empty()) out += "\n" + more;
  const auto reality = reality_of(summary.run);
  if (anything_simulated(reality)) out += fmt::format("\n{}\n", caution_of(reality));
  return out;
}

}  // namespace hopbench
