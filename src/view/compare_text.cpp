#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "study/words.h"
#include "view/compare_report.h"
#include "view/number_text.h"
#include "view/paragraph.h"

namespace hopbench {
namespace {

constexpr std::size_t name_width = 32;
constexpr std::size_t most_listed = 12;

/// "1 block of 30 min", "6 charge cycles". `unit`: as of several.
std::string clusters_text(std::size_t clusters, const std::string& unit) {
  const std::size_t word = unit.find("s ") == std::string::npos ? unit.size() - 1 : unit.find("s ");
  return clusters == 1 && !unit.empty() ? "1 " + unit.substr(0, word) + unit.substr(word + 1)
                                        : fmt::format("{} {}", clusters, unit);
}

std::string side_text(const char* which, const Tallies& tallies, std::size_t clusters, const std::string& unit) {
  return paragraph(0, fmt::format("{:<8}", which),
                   fmt::format("{}, seed {} ({}): {} over {}; {}", tallies.run.scenario, tallies.run.seed,
                               in_passing(reality_of(tallies.run)),
                               words::counted(static_cast<std::uint64_t>(tallies.all.exchanges.trials), "exchange"),
                               words::span(tallies.until - tallies.from), clusters_text(clusters, unit)));
}

std::string count_of(Counted counts) {
  if (counts.trials <= 0) return "-";
  return fmt::format("{} of {}", grouped(static_cast<std::uint64_t>(std::llround(counts.hits))),
                     grouped(static_cast<std::uint64_t>(std::llround(counts.trials))));
}

std::string row(const SharePair& pair) {
  std::string name = fitted(pair.name, name_width);
  const bool both = pair.before.trials > 0 && pair.after.trials > 0;
  const std::string difference =
      both ? fmt::format("{} ({} to {})", words::points(pair.difference.value), words::points(pair.difference.low),
                         words::points(pair.difference.high))
           : "-";
  return fmt::format("  {} {:>20} {:>20}  {:<29} {:>12} {}\n", name, count_of(pair.before), count_of(pair.after),
                     difference, both ? words::chance(pair.adjusted) : "-",
                     !pair.changed() ? ""
                     : pair.rose()   ? "worse"
                                     : "better");
}

std::string heading(const std::string& title) {
  return fmt::format("\n{}{:>{}} {:>20}  {:<29} {:>12}\n", title, "before", name_width + 23 - title.size(), "after",
                     "points (95 % limits)", "p");
}

/// Those that became worse, those that became better, then those with most failures, up to so many.
std::string group_text(const char* title, const std::vector<SharePair>& group) {
  if (group.empty()) return "";
  std::vector<const SharePair*> order;
  for (const auto& pair : group) {
    if (!pair.same_as_tries) order.push_back(&pair);
  }
  if (order.empty()) return "";
  std::stable_sort(order.begin(), order.end(), [](const SharePair* a, const SharePair* b) {
    if (a->rose() != b->rose()) return a->rose();
    if (a->changed() != b->changed()) return a->changed();
    return a->before.hits + a->after.hits > b->before.hits + b->after.hits;
  });
  std::string out = heading(title);
  std::size_t listed = 0;
  std::size_t more = 0;
  std::size_t better = 0;
  std::size_t worse = 0;
  for (const auto* pair : order) {
    if (listed >= most_listed || (pair->before.hits + pair->after.hits <= 0 && group.size() > 3)) {
      ++more;
      if (pair->changed()) ++(pair->rose() ? worse : better);
      continue;
    }
    out += row(*pair);
    ++listed;
  }
  if (more > 0) out += fmt::format("  {} more, of these {} better and {} worse\n", more, better, worse);
  return out;
}

}  // namespace

std::string compare_text(const Comparison& comparison, const Tallies& before, const Tallies& after) {
  std::string out = paragraph(0, "", comparison.sentence) + "\n";
  out += side_text("before", before, comparison.clusters_before, comparison.unit);
  out += side_text("after", after, comparison.clusters_after, comparison.unit);
  out += heading("As a whole");
  out += row(comparison.tries);
  if (comparison.exchanges.same_as_tries) {
    out += "  exchanges not answered: the same, none was tried twice\n";
  } else {
    out += row(comparison.exchanges);
  }
  if (!comparison.balancing.empty()) {
    out += heading("By cells balancing");
    for (const auto& pair : comparison.balancing) out += row(pair);
    out += fmt::format("  at equal numbers: {} points, p {}\n", words::points(comparison.common.difference),
                       words::chance(comparison.common_adjusted));
  }
  out += group_text("By hop", comparison.hops);
  out += group_text("By node", comparison.nodes);
  out += group_text("By topic", comparison.topics);
  const auto& trips = comparison.round_trips;
  if (!trips.levels.empty()) {
    out += fmt::format("\nRound trips{:>{}} {:>20}\n", "before", name_width + 23 - 11, "after");
    for (const auto& level : trips.levels) {
      const auto name = level.share >= 1 ? std::string("all of them, no longer than")
                                         : fmt::format("{:.4g} % no longer than", 100 * level.share);
      out += fmt::format("  {} {:>20} {:>20}\n", fitted(name, name_width), short_span(level.before),
                         short_span(level.after));
    }
    out += fmt::format("  farthest apart at {}: by {} of them, p {}\n", short_span(trips.apart_at),
                       words::share(trips.apart), words::chance(trips.p));
  }
  out += "\nMind\n";
  for (const auto& caution : comparison.cautions) out += paragraph(2, "", caution);
  out += paragraph(2, "",
                   fmt::format("Failed: no good answer in time. Limits and p take whole {} as what is independent; "
                               "p of hops, nodes and topics are after Holm.",
                               comparison.unit));
  return out;
}

}  // namespace hopbench
