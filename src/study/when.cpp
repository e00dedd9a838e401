#include "study/when.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <optional>

#include "judge/holm.h"
#include "judge/logistic.h"
#include "judge/power.h"
#include "study/when_words.h"

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
        if (when.confounding != Confounding::borrowed) when.beside.clear();
        when.confounding = Confounding::borrowed;
        when.beside.push_back(other.condition);
      } else if (!trend.tested || trend.p > level) {
        holds = false;
        if (when.confounding == Confounding::borrowed) continue;
        when.confounding = Confounding::cannot_tell;
        when.beside.push_back(other.condition);
      }
    }
    if (!holds && when.confounding == Confounding::cannot_tell) holds = holds_in_fit(evidence, which, all, index);
    if (holds && others) {
      when.confounding = Confounding::holds;
      when.beside.clear();
      for (const auto& other : all) {
        if (is_state(other.condition) && other.condition != when.condition) when.beside.push_back(other.condition);
      }
    }
    // What nobody told may be what it moves with.
    if (const auto untold = untold_beside(evidence, when.condition);
        untold && when.confounding != Confounding::borrowed) {
      if (when.confounding != Confounding::cannot_tell) when.beside.clear();
      when.confounding = Confounding::cannot_tell;
      when.beside.push_back(*untold);
    }
  }
  const bool any_holds = std::any_of(all.begin(), all.end(), [](const When& when) {
    return is_state(when.condition) && when.confounding == Confounding::holds;
  });
  for (auto& when : all) {
    // What each explains of the other nobody can tell.
    when.standing = when.confounding == Confounding::borrowed ? any_holds ? Standing::explained : Standing::not_apart
                    : when.confounding == Confounding::cannot_tell ? Standing::not_apart
                                                                   : Standing::proven;
  }
}

/// How many more clusters would prove what was seen, at the level that Holm asks where it asks most.
std::optional<std::uint64_t> more_to_prove(const When& when, double level_of_one) {
  constexpr std::uint64_t most_times = 20;
  const std::uint64_t clusters = when.trend.clusters;
  const auto all = clusters_to_show(when.trend.t, clusters, {level_of_one, 0.8}, clusters * most_times);
  if (!all) return std::nullopt;
  return std::max<std::uint64_t>(1, *all - std::min(*all, clusters));
}

/// Why there was no test.
Standing why_not(const Evidence& evidence, Condition condition, const std::vector<Tried>& rows) {
  if (!evidence.is_known(condition)) return Standing::not_known;
  const bool varies =
      std::any_of(rows.begin(), rows.end(), [&](const Tried& row) { return row.value != rows.front().value; });
  return rows.empty() ? Standing::not_known : varies ? Standing::too_few : Standing::never_other;
}

void judge_one(When& when, double level_of_one) {
  // Less often at the top of charge than before it, for example, says nothing that the other way round does not.
  if (only_rises(when.condition) && when.trend.t < 0) {
    when.standing = Standing::falls;
    return;
  }
  if (when.adjusted_p > level) {
    when.standing = Standing::not_proven;
    when.more_clusters = more_to_prove(when, level_of_one);
    return;
  }
  // Beyond chance, but too little to act on: frames are a little longer or shorter under some conditions.
  const double ratio = when.trend.ratio;
  const bool small = when.condition != Condition::hour && ratio < least_ratio && ratio > 1 / least_ratio;
  when.standing = small ? Standing::small : Standing::proven;
}

}  // namespace

Whens whens_of(const Evidence& evidence, const Case& which) {
  Whens whens;
  std::vector<double> p;
  for (const auto condition : tested) {
    if (says_nothing_new(evidence, which, condition)) continue;
    When when;
    when.condition = condition;
    const auto rows = tabulate(evidence, which, condition, {});
    when.trend = condition == Condition::hour ? hour_trend(rows) : trend_of(rows);
    if (when.trend.tested) {
      ++whens.tested;
      if (condition != Condition::payload) p.push_back(when.trend.p);
    } else {
      ++whens.could_not;
      when.standing = why_not(evidence, condition, rows);
    }
    whens.looked_at.push_back(std::move(when));
  }
  const auto adjusted = holm(p);
  std::size_t next = 0;
  for (auto& when : whens.looked_at) {
    if (!when.trend.tested) continue;
    const bool payload = when.condition == Condition::payload;
    const double share = payload ? payload_share : 1 - payload_share;
    when.adjusted_p = std::min(1.0, (payload ? when.trend.p : adjusted[next++]) / share);
    // Both directions of the clock's face count.
    const double directions = when.condition == Condition::hour ? 2 : 1;
    judge_one(when, level * share / (payload ? 1 : static_cast<double>(p.size())) / directions);
    if (when.standing == Standing::proven) whens.found.push_back(when);
  }
  part(evidence, which, whens.found);
  for (const auto& when : whens.found) {
    const auto same = [&](const When& each) { return each.condition == when.condition; };
    *std::find_if(whens.looked_at.begin(), whens.looked_at.end(), same) = when;
  }
  put_in_words(evidence, which, whens);
  return whens;
}

}  // namespace hopbench
