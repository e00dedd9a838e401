#include "study/when.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <optional>

#include "judge/holm.h"
#include "judge/logistic.h"
#include "study/words.h"

namespace hopbench {
namespace {

constexpr double level = 0.01;         // family-wise
constexpr double payload_share = 0.1;  // of the level: seldom what it is, so that looking at it costs the others little
constexpr double least_ratio = 1.25;
constexpr double gone_above = 0.05;  // at equal others: no effect to be seen
constexpr std::uint32_t least_clusters_to_fit = 10;
constexpr std::array<Condition, 9> tested{Condition::balancing, Condition::charge,   Condition::temperature,
                                          Condition::supply,    Condition::hour,     Condition::gap,
                                          Condition::length,    Condition::distance, Condition::payload};

/// The hour goes round: it is tested along two directions of the clock's face, and the better of both counts, twice.
Trend hour_trend(std::vector<Tried> rows) {
  const std::vector<Tried> hours = rows;
  Trend best;
  for (const bool sine : {false, true}) {
    for (std::size_t i = 0; i < rows.size(); ++i) {
      const double angle = 2 * std::numbers::pi * (hours[i].value + 0.5) / 24;
      rows[i].value = sine ? std::sin(angle) : std::cos(angle);
    }
    const auto trend = trend_of(rows);
    if (trend.tested && (!best.tested || trend.p < best.p)) best = trend;
  }
  best.p = std::min(1.0, 2 * best.p);
  return best;
}

struct Counts {
  std::array<double, bin_count> tries{};
  std::array<double, bin_count> failures{};
  double all = 0;
};

Counts by_bin(const std::vector<Tried>& rows) {
  Counts counts;
  for (const auto& row : rows) {
    const auto bin = static_cast<std::size_t>(row.value) % bin_count;
    counts.tries[bin] += row.tries;
    counts.failures[bin] += row.failures;
    counts.all += row.tries;
  }
  return counts;
}

std::string rate(double failures, double tries) {
  const auto whole = [](double value) { return static_cast<std::uint64_t>(std::llround(value)); };
  return words::share_with_limits(whole(failures), whole(tries));
}

/// The worst six hours in a row against the others, as far as anything was tried in them.
std::string hours(const Counts& counts, bool by_the_clock) {
  std::size_t worst = 0;
  std::size_t worst_end = 0;
  double worst_rate = -1;
  std::array<double, 4> best{};
  for (std::size_t from = 0; from < 24; ++from) {
    if (counts.tries[from] <= 0) continue;
    std::size_t end = from;
    double tries = 0;
    double failures = 0;
    double all_tries = 0;
    double all_failures = 0;
    for (std::size_t i = 0; i < 24; ++i) {
      const auto hour = (from + i) % 24;
      all_tries += counts.tries[hour];
      all_failures += counts.failures[hour];
      if (i >= 6) continue;
      tries += counts.tries[hour];
      failures += counts.failures[hour];
      if (counts.tries[hour] > 0) end = hour;
    }
    if (tries <= 0 || failures / tries <= worst_rate) continue;
    worst_rate = failures / tries;
    worst = from;
    worst_end = end;
    best = {failures, tries, all_failures - failures, all_tries - tries};
  }
  const std::size_t to = (worst_end + 1) % 24;
  const auto when = by_the_clock ? fmt::format("from {:02}:00 to {:02}:00 (UTC)", worst, to)
                                 : fmt::format("from hour {} to hour {} of 24 since the capture began", worst, to);
  return fmt::format("{} of tries {}, {} at other hours", rate(best[0], best[1]), when, rate(best[2], best[3]));
}

/// Two halves: bins up to where about half of all tries are, and the rest.
std::string halves(Condition condition, const Counts& counts) {
  std::array<double, 2> tries{};
  std::array<double, 2> failures{};
  std::size_t low_bin = 0;
  std::size_t high_bin = 0;
  bool low = true;
  for (std::size_t bin = 0; bin < bin_count; ++bin) {
    if (counts.tries[bin] <= 0) continue;
    if (low && tries[0] > 0 && (tries[0] + counts.tries[bin] > 0.75 * counts.all || tries[0] > 0.5 * counts.all)) {
      low = false;
      high_bin = bin;
    }
    tries[low ? 0 : 1] += counts.tries[bin];
    failures[low ? 0 : 1] += counts.failures[bin];
    if (low) low_bin = bin;
  }
  if (tries[1] <= 0) return "";
  return fmt::format("{} of tries up to {}, {} from {} on", rate(failures[0], tries[0]), bin_to(condition, low_bin),
                     rate(failures[1], tries[1]), bin_from(condition, high_bin));
}

bool is_state(Condition condition) {
  return condition == Condition::balancing || condition == Condition::charge || condition == Condition::temperature ||
         condition == Condition::supply;
}

bool only_rises(Condition condition) {
  return condition == Condition::balancing || condition == Condition::charge || condition == Condition::supply;
}

/// What is known of a case by its place already.
bool says_nothing_new(const Evidence& evidence, const Case& which, Condition condition) {
  if (condition == Condition::payload) {
    // What a frame says can only matter to it while it is on a wire; elsewhere it tells of the state of its node.
    const auto on_wire = std::count_if(which.incidents.begin(), which.incidents.end(), [&](std::uint32_t i) {
      return family_of(evidence.incidents[i].ending) == Family::wire;
    });
    return 2 * static_cast<std::size_t>(on_wire) < which.incidents.size();
  }
  const bool about_nodes = condition == Condition::length || condition == Condition::distance;
  return about_nodes && which.placed && which.family != Family::wire;
}

std::string sentence_of(const Evidence& evidence, const When& when, const Counts& counts) {
  const bool cycles = clusters_are_cycles(evidence) && (is_state(when.condition) || when.condition == Condition::hour ||
                                                        when.condition == Condition::payload);
  const char* unit = cycles ? "charge cycles" : "blocks of time";
  const auto test =
      fmt::format("trend over {} {}, p {} after Holm", when.trend.clusters, unit, words::chance(when.adjusted_p));
  if (when.condition == Condition::hour)
    return fmt::format("By the hour: {} ({}).", hours(counts, evidence.wall_zero.has_value()), test);
  return fmt::format("{} as {} rises: {} ({}).", when.trend.t > 0 ? "More frequent" : "Rarer",
                     phrase_of(when.condition), halves(when.condition, counts), test);
}

std::vector<std::string> phrases(const std::vector<When>& all, Confounding confounding) {
  std::vector<std::string> names;
  for (const auto& when : all) {
    if (is_state(when.condition) && when.confounding == confounding) names.emplace_back(phrase_of(when.condition));
  }
  return names;
}

/// By a logistic fit with all the others in, which gets by where no two tries were alike in them: whether `which` still
/// has an effect of the same direction, by clusters and by the fall in deviance.
bool holds_in_fit(const Evidence& evidence, const Case& which, const std::vector<When>& all, std::size_t index) {
  const bool cycles = clusters_are_cycles(evidence);
  std::vector<Binomials> rows(evidence.moments.size());
  for (std::size_t m = 0; m < rows.size(); ++m) {
    const auto& moment = evidence.moments[m];
    rows[m].cluster = cycles ? moment.cycle : moment.block;
    rows[m].trials = static_cast<double>(moment.tries);
    rows[m].x.push_back(moment.bin(all[index].condition));
    for (std::size_t i = 0; i < all.size(); ++i) {
      if (is_state(all[i].condition) && i != index) rows[m].x.push_back(moment.bin(all[i].condition));
    }
    for (const double x : rows[m].x) {
      if (x == unknown_bin) rows[m].trials = 0;
    }
  }
  for (const auto i : which.incidents) {
    const auto& incident = evidence.incidents[i];
    rows[incident.moment].hits += evidence.one_incident_in;
  }
  std::erase_if(rows, [](Binomials& row) {
    row.hits = std::min(row.hits, row.trials);
    return row.trials <= 0;
  });
  const auto with = logistic_of(rows);
  if (!with.fitted || with.clusters < least_clusters_to_fit) return false;
  for (auto& row : rows) row.x.erase(row.x.begin());
  const auto without = logistic_of(rows);
  return without.fitted && with.coefficients[1] * all[index].trend.t > 0 && by_cluster_chance(with, 1) <= level &&
         deviance_chance(without.deviance - with.deviance) <= level;
}

/// The one of balancing and charge that is not told, if the other is, or the first of them that might matter to others.
std::optional<Condition> untold_beside(const Evidence& evidence, Condition condition) {
  for (const auto other : {Condition::charge, Condition::balancing}) {
    if (other != condition && !evidence.is_known(other)) return other;
  }
  return std::nullopt;
}

/// Conditions of state with an effect, each at equal values of each other one.
void part(const Evidence& evidence, const Case& which, std::vector<When>& all) {
  for (std::size_t index = 0; index < all.size(); ++index) {
    auto& when = all[index];
    if (!is_state(when.condition)) continue;
    bool holds = true;
    bool others = false;
    for (const auto& other : all) {
      if (!is_state(other.condition) || other.condition == when.condition) continue;
      others = true;
      const auto trend = trend_of(tabulate(evidence, which, when.condition, {other.condition}));
      if (trend.tested && (trend.p > gone_above || trend.t * when.trend.t < 0)) {
        holds = false;
        when.confounding = Confounding::borrowed;
      } else if (!trend.tested || trend.p > level) {
        holds = false;
        if (when.confounding != Confounding::borrowed) when.confounding = Confounding::cannot_tell;
      }
    }
    if (!holds && when.confounding == Confounding::cannot_tell) holds = holds_in_fit(evidence, which, all, index);
    if (holds && others) when.confounding = Confounding::holds;
    // What nobody told may be what it moves with.
    if (untold_beside(evidence, when.condition) && when.confounding != Confounding::borrowed)
      when.confounding = Confounding::cannot_tell;
  }
}

Advice untold_of(const Evidence& evidence, const std::vector<When>& all) {
  std::vector<std::string> open;
  std::optional<Condition> untold;
  for (const auto& when : all) {
    const auto beside = is_state(when.condition) ? untold_beside(evidence, when.condition) : std::nullopt;
    if (!beside || when.confounding == Confounding::borrowed) continue;
    untold = beside;
    open.emplace_back(phrase_of(when.condition));
  }
  if (!untold) return {};
  return {
      fmt::format("Nobody told {}, so whether {} {} by {} cannot be told from this capture; change one and leave the "
                  "others, for example charge once with balancing disabled. {}",
                  phrase_of(*untold), words::list(open), open.size() == 1 ? "matters" : "matter",
                  open.size() == 1 ? "itself" : "themselves", watch_cells()),
      true};
}

Advice together_of(const Evidence& evidence, const std::vector<When>& all) {
  if (auto untold = untold_of(evidence, all); !untold.text.empty()) return untold;
  std::vector<std::string> names;
  for (const auto& when : all) {
    if (is_state(when.condition)) names.emplace_back(phrase_of(when.condition));
  }
  if (names.size() < 2) return {};
  const auto holds = phrases(all, Confounding::holds);
  const auto borrowed = phrases(all, Confounding::borrowed);
  const auto open = phrases(all, Confounding::cannot_tell);
  std::string text = fmt::format("These move together here: {}.", words::list(names));
  if (!holds.empty())
    text += fmt::format(" Where the others are equal, {} still {}.", words::list(holds),
                        holds.size() == 1 ? "matters" : "matter");
  if (!borrowed.empty() && !holds.empty()) {
    text += fmt::format(" The effect of {} is gone where the others are equal.", words::list(borrowed));
  }
  if (open.empty() && !holds.empty()) return {text, false};
  const auto& which = open.empty() ? borrowed : open;
  text += fmt::format(
      " Whether {} {} by {} cannot be told from this capture; change one and leave the others, for example charge once "
      "with balancing disabled. {}",
      words::list(which), which.size() == 1 ? "matters" : "matter", which.size() == 1 ? "itself" : "themselves",
      watch_cells());
  return {text, true};
}

}  // namespace

std::string_view name_of(Confounding confounding) {
  switch (confounding) {
    case Confounding::alone:
      return "alone";
    case Confounding::holds:
      return "holds";
    case Confounding::borrowed:
      return "gone";
    case Confounding::cannot_tell:
      break;
  }
  return "cannot_tell";
}

Whens whens_of(const Evidence& evidence, const Case& which) {
  Whens whens;
  std::vector<When> all;
  std::vector<double> p;
  for (const auto condition : tested) {
    if (says_nothing_new(evidence, which, condition)) continue;
    When when;
    when.condition = condition;
    const auto rows = tabulate(evidence, which, condition, {});
    when.trend = condition == Condition::hour ? hour_trend(rows) : trend_of(rows);
    if (!when.trend.tested) {
      ++whens.could_not;
      continue;
    }
    if (condition != Condition::payload) p.push_back(when.trend.p);
    all.push_back(when);
  }
  whens.tested = all.size();
  // Payload comes last of those that are tested.
  auto adjusted = holm(p);
  for (double& each : adjusted) each = std::min(1.0, each / (1 - payload_share));
  if (all.size() > p.size()) adjusted.push_back(std::min(1.0, all.back().trend.p / payload_share));
  for (std::size_t i = 0; i < all.size(); ++i) {
    if (adjusted[i] > level) continue;
    // Less often at the top of charge than before it, for example, says nothing that the other way round does not.
    if (only_rises(all[i].condition) && all[i].trend.t < 0) continue;
    // Beyond chance, but too little to act on: frames are a little longer or shorter under some conditions.
    const double ratio = all[i].trend.ratio;
    if (all[i].condition != Condition::hour && ratio < least_ratio && ratio > 1 / least_ratio) continue;
    all[i].adjusted_p = adjusted[i];
    all[i].sentence = sentence_of(evidence, all[i], by_bin(tabulate(evidence, which, all[i].condition, {})));
    whens.found.push_back(all[i]);
  }
  part(evidence, which, whens.found);
  whens.together = together_of(evidence, whens.found);
  return whens;
}

}  // namespace hopbench
