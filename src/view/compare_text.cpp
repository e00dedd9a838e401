#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "study/compare_verdict.h"
#include "study/words.h"
#include "view/compare_report.h"
#include "view/number_text.h"
#include "view/page.h"
#include "view/paragraph.h"
#include "view/short_names.h"

namespace hopbench {
namespace {

constexpr std::size_t most_listed = 12;
constexpr std::size_t least_name = 12;

/// "1 block of 30 min", "6 charge cycles". `unit`: as of several.
std::string clusters_text(std::size_t clusters, const std::string& unit) {
  const std::size_t word = unit.find("s ") == std::string::npos ? unit.size() - 1 : unit.find("s ");
  return clusters == 1 && !unit.empty() ? "1 " + unit.substr(0, word) + unit.substr(word + 1)
                                        : fmt::format("{} {}", clusters, unit);
}

std::string side_text(const char* which, const Tallies& tallies, std::size_t clusters, const std::string& unit) {
  const auto length = tallies.until - tallies.from;
  return paragraph(0, fmt::format("{:<8}", which),
                   fmt::format("{}, seed {} ({}): {}{}; {}", tallies.run.scenario, tallies.run.seed,
                               in_passing(reality_of(tallies.run)),
                               words::counted(static_cast<std::uint64_t>(tallies.all.exchanges.trials), "exchange"),
                               length > 0 ? " over " + words::span(length) : "", clusters_text(clusters, unit)));
}

/// "12,345", or, where there is no room for that, "12.3 M".
std::string number_of(double number, bool brief) {
  if (brief && number >= 1e6) return fmt::format("{:.3g} M", number / 1e6);
  return grouped(static_cast<std::uint64_t>(std::llround(number)));
}

std::string count_of(Counted counts, bool brief) {
  if (counts.trials <= 0) return "-";
  return fmt::format("{} of {}", number_of(counts.hits, brief), number_of(counts.trials, brief));
}

/// Of all tables alike, so that figures stand under each other.
struct Columns {
  std::size_t name = least_name;
  std::size_t before = 6;
  std::size_t after = 5;

  static constexpr std::size_t points = 8;
  static constexpr std::size_t chance = 8;
  static constexpr std::size_t verdict = 6;
  static constexpr std::size_t between = 7;  // two to the left, then one each

  bool brief = false;  // millions, since all digits would not fit

  void fit(const SharePair& pair) {
    before = std::max(before, count_of(pair.before, brief).size());
    after = std::max(after, count_of(pair.after, brief).size());
  }
  [[nodiscard]] std::size_t but_name() const { return before + after + points + chance + verdict + between; }
};

Columns columns_for(const Comparison& comparison, bool brief = false) {
  Columns columns;
  columns.brief = brief;
  for (const SharePair* pair : {&comparison.tries, &comparison.exchanges}) columns.fit(*pair);
  for (const auto* group :
       {&comparison.outcomes, &comparison.balancing, &comparison.hops, &comparison.nodes, &comparison.topics}) {
    for (const auto& pair : *group) columns.fit(pair);
  }
  if (!brief && columns.but_name() + least_name > page_width()) return columns_for(comparison, true);
  columns.name = std::max(least_name, page_width() - std::min(page_width(), columns.but_name()));
  return columns;
}

std::string short_chance(double p) { return p < 0.0001 ? "<0.0001" : words::chance(p); }

std::string put_in(const Columns& columns, const std::string& name, const std::string& before, const std::string& after,
                   const std::string& points, const std::string& p, const char* verdict) {
  const auto fits = short_names({name}, columns.name).front();
  std::string text =
      fmt::format("  {}{} {:>{}} {:>{}} {:>{}} {:>{}} {}", fits,
                  std::string(columns.name - std::min(columns.name, characters_in(fits)), ' '), before, columns.before,
                  after, columns.after, points, Columns::points, p, Columns::chance, verdict);
  text.erase(text.find_last_not_of(' ') + 1);
  return text + "\n";
}

std::string row(const SharePair& pair, const std::string& name, const Columns& columns) {
  const bool both = pair.before.trials > 0 && pair.after.trials > 0;
  return put_in(columns, name, count_of(pair.before, columns.brief), count_of(pair.after, columns.brief),
                both ? words::points(pair.difference.value) : "-", both ? short_chance(pair.adjusted) : "-",
                !pair.changed() ? ""
                : pair.rose()   ? "worse"
                                : "better");
}

/// "Difference: -0.47 points (95 % interval -0.56 to -0.39)".
std::string interval_line(const char* what, const SharePair& pair) {
  return paragraph(2, "",
                   fmt::format("{}: {} points (95 % interval {} to {}).", what, words::points(pair.difference.value),
                               words::points(pair.difference.low), words::points(pair.difference.high)));
}

std::string heading(const std::string& title, const Columns& columns) {
  const auto text = put_in(columns, title, "before", "after", "points", "p", "");
  return "\n" + text.substr(2, columns.name) + "  " + text.substr(2 + columns.name);
}

/// Those that became worse, those that became better, then those with most failures, up to so many.
std::string group_text(const char* title, const std::vector<SharePair>& group, const Columns& columns) {
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
  std::vector<std::string> names;
  for (const auto* pair : order) names.push_back(pair->name);
  names = short_names(names, columns.name);
  std::string out = heading(title, columns);
  std::size_t listed = 0;
  std::size_t more = 0;
  std::size_t better = 0;
  std::size_t worse = 0;
  for (std::size_t i = 0; i < order.size(); ++i) {
    const auto* pair = order[i];
    if (listed >= most_listed || (pair->before.hits + pair->after.hits <= 0 && group.size() > 3)) {
      ++more;
      if (pair->changed()) ++(pair->rose() ? worse : better);
      continue;
    }
    out += row(*pair, names[i], columns);
    ++listed;
  }
  if (more > 0) out += fmt::format("  {} more, of these {} better and {} worse\n", grouped(more), better, worse);
  return out;
}

std::string round_trips_text(const RoundTrips& trips, const Columns& columns) {
  if (trips.levels.empty()) return {};
  const auto line_of = [&](const std::string& name, const std::string& before, const std::string& after) {
    return put_in(columns, name, before, after, "", "", "");
  };
  const auto head = line_of("Round trip", "before", "after");
  std::string out = "\n" + head.substr(2, columns.name) + "  " + head.substr(2 + columns.name);
  for (const auto& level : trips.levels) {
    const auto name = level.share >= 1     ? std::string("longest")
                      : level.share == 0.5 ? std::string("median")
                                           : fmt::format("{:.4g} %", 100 * level.share);
    out += line_of(name, short_span(level.before), short_span(level.after));
  }
  return out + paragraph(2, "",
                         fmt::format("Farthest apart at {}: by {} of them (p {}).", short_span(trips.apart_at),
                                     words::share(trips.apart), words::chance(trips.p)));
}

std::string whole_text(const Comparison& comparison, const Columns& columns) {
  std::string out = heading("As a whole", columns) + row(comparison.tries, comparison.tries.name, columns);
  if (!comparison.exchanges.same_as_tries) out += row(comparison.exchanges, comparison.exchanges.name, columns);
  out += interval_line("Tries", comparison.tries);
  if (comparison.exchanges.same_as_tries) {
    out += paragraph(2, "", "Exchanges not answered are the same: none was tried twice.");
  } else {
    out += interval_line("Exchanges", comparison.exchanges);
  }
  const bool said = comparison.verdict == Verdict::no_difference || comparison.verdict == Verdict::cannot_say;
  if (!said && comparison.tries.level > 0) out += paragraph(2, "", would_have_been_seen(comparison));
  return out;
}

std::string balancing_text(const Comparison& comparison, const Columns& columns) {
  if (comparison.balancing.empty()) return {};
  std::string out = heading("By cells balancing", columns);
  for (const auto& pair : comparison.balancing) out += row(pair, pair.name, columns);
  if (comparison.equal_numbers)
    return out + paragraph(2, "", "Both sides had much the same numbers of cells balancing: no test of its own.");
  return out + paragraph(2, "",
                         fmt::format("At equal numbers: {} points (p {}).", words::points(comparison.common.difference),
                                     words::chance(comparison.common_adjusted)));
}

}  // namespace

std::string compare_text(const Comparison& comparison, const Tallies& before, const Tallies& after) {
  const auto columns = columns_for(comparison);
  std::string out = paragraph(0, "", comparison.sentence) + "\n";
  out += side_text("before", before, comparison.clusters_before, comparison.unit);
  out += side_text("after", after, comparison.clusters_after, comparison.unit);
  out += whole_text(comparison, columns);
  out += group_text("By outcome (exchanges)", comparison.outcomes, columns);
  out += balancing_text(comparison, columns);
  out += group_text("By hop", comparison.hops, columns);
  out += group_text("By node", comparison.nodes, columns);
  out += group_text("By topic", comparison.topics, columns);
  out += round_trips_text(comparison.round_trips, columns);
  out += "\nMind\n";
  for (const auto& caution : comparison.cautions) out += paragraph(2, "", caution);
  return out + paragraph(2, "",
                         fmt::format("Failed: no good answer in time. Intervals and p take whole {} as what is "
                                     "independent; p of outcomes, hops, nodes and topics are corrected (Holm).",
                                     comparison.unit));
}

}  // namespace hopbench
