#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <numeric>

#include "study/explanation.h"
#include "study/signatures.h"
#include "study/words.h"

namespace hopbench {
namespace {

constexpr std::uint64_t enough = 50;  // failures from which on a case is judged without reserve
constexpr std::size_t most_cases = 8;
constexpr double level = 0.01;  // family-wise
constexpr std::array<Condition, 7> tested{Condition::balancing, Condition::charge, Condition::temperature,
                                          Condition::supply,    Condition::gap,    Condition::length,
                                          Condition::distance};

/// p values by Holm's step-down, in their own order.
std::vector<double> holm(const std::vector<double>& p) {
  std::vector<std::size_t> order(p.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::sort(order.begin(), order.end(), [&](auto a, auto b) { return p[a] < p[b]; });
  std::vector<double> adjusted(p.size());
  double worst = 0;
  for (std::size_t rank = 0; rank < order.size(); ++rank) {
    worst = std::max(worst, std::min(1.0, p[order[rank]] * static_cast<double>(p.size() - rank)));
    adjusted[order[rank]] = worst;
  }
  return adjusted;
}

struct Split {
  double low_tries = 0, low_failures = 0, high_tries = 0, high_failures = 0;
  std::size_t low_bin = 0, high_bin = 0;  // last of the low ones, first of the high ones
};

/// Halves: bins up to where half of all failures would be expected, and the rest.
Split split_of(const std::vector<Tried>& rows) {
  std::array<double, bin_count> tries{};
  std::array<double, bin_count> failures{};
  double all = 0;
  for (const auto& row : rows) {
    const auto bin = static_cast<std::size_t>(row.value) % bin_count;
    tries[bin] += row.tries;
    failures[bin] += row.failures;
    all += row.tries;
  }
  Split split;
  double sum = 0;
  bool low = true;
  for (std::size_t bin = 0; bin < bin_count; ++bin) {
    if (tries[bin] <= 0) continue;
    if (low && sum > 0 && (sum + tries[bin] > 0.75 * all || sum > 0.5 * all)) low = false;
    sum += tries[bin];
    (low ? split.low_tries : split.high_tries) += tries[bin];
    (low ? split.low_failures : split.high_failures) += failures[bin];
    if (low) split.low_bin = bin;
    if (!low && split.high_bin == 0) split.high_bin = bin;
  }
  return split;
}

std::string rates(Condition condition, const std::vector<Tried>& rows) {
  const auto split = split_of(rows);
  if (split.high_tries <= 0) return "";
  const auto whole = [](double value) { return static_cast<std::uint64_t>(value + 0.5); };
  return fmt::format("{} of tries at up to {}, {} from {} on",
                     words::share_with_limits(whole(split.low_failures), whole(split.low_tries)),
                     bin_text(condition, split.low_bin),
                     words::share_with_limits(whole(split.high_failures), whole(split.high_tries)),
                     bin_text(condition, split.high_bin));
}

/// Conditions that failures go with; of those that do not, nothing.
std::vector<When> when_of(const Evidence& evidence, const Case& which, std::size_t& could_not) {
  std::vector<When> all;
  std::vector<double> p;
  could_not = 0;
  for (const auto condition : tested) {
    When when;
    when.condition = condition;
    when.trend = trend_of(tabulate(evidence, which, condition, {}));
    if (!when.trend.tested) {
      ++could_not;
      continue;
    }
    p.push_back(when.trend.p);
    all.push_back(when);
  }
  const auto adjusted = holm(p);
  std::vector<When> found;
  const char* unit = clusters_are_cycles(evidence) ? "charge cycles" : "blocks of time";
  for (std::size_t i = 0; i < all.size(); ++i) {
    auto when = all[i];
    when.adjusted_p = adjusted[i];
    if (when.adjusted_p > level) continue;
    const auto rows = tabulate(evidence, which, when.condition, {});
    when.sentence = fmt::format("{} {} as {} rises: {} (trend over {} {}, p {} after Holm).",
                                which.incidents.size() == evidence.incidents.size() ? "Failures become" : "It becomes",
                                when.trend.t > 0 ? "more frequent" : "rarer", phrase_of(when.condition),
                                rates(when.condition, rows), when.trend.clusters, unit, words::chance(when.adjusted_p));
    found.push_back(when);
  }
  const auto has = [&](Condition condition) {
    return std::any_of(found.begin(), found.end(), [&](const When& when) { return when.condition == condition; });
  };
  if (has(Condition::balancing) && has(Condition::charge)) {
    const auto balancing = trend_of(tabulate(evidence, which, Condition::balancing, {Condition::charge}));
    const auto charge = trend_of(tabulate(evidence, which, Condition::charge, {Condition::balancing}));
    const bool cells = balancing.tested && balancing.p < level && balancing.t > 0;
    const bool current = charge.tested && charge.p < level && charge.t > 0;
    std::string text = "Cells balancing and charge current move together in this capture. ";
    if (cells && !current && charge.tested) {
      text += fmt::format(
          "At equal charge current the failures still rise with cells balancing (p {}); at equal "
          "numbers of cells they do not go with the charge current.",
          words::chance(balancing.p));
    } else if (current && !cells && balancing.tested) {
      text += fmt::format(
          "At equal numbers of cells balancing the failures still go with the charge current (p {}); "
          "at equal charge current they do not rise with cells balancing.",
          words::chance(charge.p));
    } else if (cells && current) {
      text += "Each matters also at equal values of the other.";
    } else {
      text +=
          "They cannot be told apart here. To tell: charge once without balancing, and balance once without charging.";
    }
    When both;
    both.condition = Condition::balancing;
    both.trend = balancing;
    both.sentence = text;
    found.push_back(both);
  }
  return found;
}

std::string symptoms_of(const Evidence& evidence, const Case& which) {
  std::array<std::uint64_t, symptom_count> symptoms{};
  std::array<std::uint64_t, ending_count> endings{};
  for (const auto i : which.incidents) {
    const auto& incident = evidence.incidents[i];
    ++symptoms[static_cast<std::size_t>(incident.symptom) % symptom_count];
    ++endings[static_cast<std::size_t>(incident.ending) % ending_count];
  }
  std::vector<std::string> parts;
  const auto put = [&](std::string_view name, std::uint64_t number) {
    std::string text(name);
    std::replace(text.begin(), text.end(), '_', ' ');
    if (number > 0) parts.push_back(text + " " + words::count(number * evidence.one_incident_in));
  };
  if (which.family == Family::wire && evidence.sight != Sight::controller_only) {
    for (std::size_t i = 1; i < symptom_count; ++i) put(name_of(static_cast<Symptom>(i)), symptoms[i]);
  } else {
    for (std::size_t i = 0; i < ending_count; ++i) put(name_of(static_cast<Ending>(i)), endings[i]);
  }
  return words::list(parts);
}

std::string spread_of(const Evidence& evidence, const Case& which) {
  const auto hit = clusters_hit(evidence, which);
  const auto all = clusters_in_all(evidence);
  const auto episodes = episodes_of(evidence, which, 3 * std::max<Nanos>(evidence.usual_gap, millisecond));
  std::string text = clusters_are_cycles(evidence)
                         ? fmt::format("In {} of {} charge cycles", hit, all)
                         : fmt::format("In {} of {} blocks of {}", hit, all, words::span(evidence.block_span));
  if (episodes.count == which.incidents.size()) return text + ", each by itself";
  return text + fmt::format(", in {} with {} at most, the longest over {}", words::counted(episodes.count, "episode"),
                            words::count(episodes.most_incidents), words::span(episodes.longest));
}

CaseFinding finding_of(const Evidence& evidence, Case which) {
  CaseFinding finding;
  finding.failures = which.incidents.size() * evidence.one_incident_in;
  finding.title = fmt::format(
      "{}: {} {}",
      finding.failures == 1 ? std::string{"1 failed try"} : words::count(finding.failures) + " failed tries",
      words::look(which.family), words::place(evidence, which));
  finding.symptoms = symptoms_of(evidence, which);
  finding.spread = spread_of(evidence, which);
  std::size_t could_not = 0;
  finding.when = when_of(evidence, which, could_not);
  finding.candidates = candidates_for(evidence, which);
  finding.tied = tied_at_top(finding.candidates);
  const std::string simulated = evidence.run.simulated ? " (simulated)" : "";
  if (finding.candidates.empty()) {
    finding.verdict = "Nothing that is known here looks like this" + simulated + ".";
  } else {
    std::vector<std::string> names;
    for (std::size_t i = 0; i < finding.tied; ++i) names.emplace_back(meaning_of(finding.candidates[i].mechanism));
    const auto& first = finding.candidates.front();
    if (finding.tied == 1) {
      finding.verdict = fmt::format("Looks like {}{}: {}.", names.front(), simulated, first.evidence);
    } else {
      finding.verdict = fmt::format("Looks like {}{}, which cannot be told apart from what was seen: {}.",
                                    words::list(names), simulated, first.evidence);
    }
  }
  if (finding.failures < enough) {
    const double factor =
        static_cast<double>(enough) / static_cast<double>(std::max<std::uint64_t>(1, finding.failures));
    finding.not_enough = fmt::format(
        "Not enough data for a verdict: {} of the {} failures that it takes. At this rate {} of capture would do.",
        finding.failures, enough,
        words::span(static_cast<Nanos>(static_cast<double>(evidence.until - evidence.from) * factor)));
  }
  finding.next = next_step(evidence, which, finding.candidates, finding.tied);
  finding.which = std::move(which);
  return finding;
}

std::string vantage_sentence(const Evidence& evidence) {
  switch (evidence.sight) {
    case Sight::every_hop:
      return "Every hop was seen: where a frame died can be told.";
    case Sight::some_hops:
      return "Some hops were seen: for the others only what came out at their far ends can be told.";
    case Sight::controller_only:
      break;
  }
  return "Only the controller's own line was seen: on which hop a frame died cannot be told.";
}

void where_in(const Evidence& evidence, Explanation& out, const std::vector<StandOut>& outstanding) {
  if (evidence.sight == Sight::controller_only) {
    Case all;
    for (std::uint32_t i = 0; i < evidence.incidents.size(); ++i) all.incidents.push_back(i);
    const auto distance = trend_of(tabulate(evidence, all, Condition::distance, {}));
    bool ring = true;
    for (const auto& link : evidence.run.links) ring = ring && !link.homeward;
    if (ring) {
      out.where.emplace_back(
          "Where cannot be told: in a ring every frame passes every hop, and the controller sees only what comes out. "
          "To "
          "tell: listen at the middle of the chain with an isolated tap, or read the nodes' own counters before and "
          "after.");
    } else if (distance.tested && distance.p < level && distance.t > 0) {
      out.where.push_back(fmt::format(
          "Farther nodes fail more often ({}; p {}): what fails lies on the way, not at the controller.",
          rates(Condition::distance, tabulate(evidence, all, Condition::distance, {})), words::chance(distance.p)));
    } else {
      out.where.emplace_back("Where cannot be told: nodes far and near fail about equally often.");
    }
    return;
  }
  for (const auto& each : outstanding) {
    const auto& link = evidence.links[each.link];
    HopFinding hop{each.link, link.bad(), link.frames, each.adjusted_p, {}};
    hop.sentence = fmt::format(
        "{} stands out: {} of {} frames not heard well, {}; {}.", words::hop(evidence.run, each.link),
        words::count(hop.lost), words::count(hop.frames), words::share_with_limits(hop.lost, hop.frames),
        each.adjusted_p > 0
            ? fmt::format("p {} after Holm over {} hops", words::chance(hop.adjusted_p), evidence.links.size())
            : fmt::format("{} of them in one stretch", words::count(each.in_a_row)));
    hop.sentence.front() = 'H';
    out.hops.push_back(std::move(hop));
  }
  if (outstanding.empty()) out.where.emplace_back("No hop stands out from the others.");
}

}  // namespace

Explanation explain(const Evidence& evidence) {
  Explanation out;
  out.simulated = evidence.run.simulated;
  out.sight = evidence.sight;
  out.headline =
      fmt::format("{}: {} exchanges with {} tries in {}; {} tries came to nothing, {}.",
                  evidence.run.simulated ? "Simulated" : "On a real port", words::count(evidence.exchanges),
                  words::count(evidence.tries), words::span(evidence.until - evidence.from),
                  words::count(evidence.failures), words::share_with_limits(evidence.failures, evidence.tries));
  out.vantage = vantage_sentence(evidence);
  const auto outstanding = standing_out(evidence);
  where_in(evidence, out, outstanding);
  Case all;
  for (std::uint32_t i = 0; i < evidence.incidents.size(); ++i) all.incidents.push_back(i);
  std::size_t could_not = 0;
  out.when = when_of(evidence, all, could_not);
  out.when_note = clusters_are_cycles(evidence)
                      ? fmt::format("What counts as independent is a charge cycle; there were {}.", evidence.cycles)
                      : fmt::format("What counts as independent is a block of {}; there were {}.",
                                    words::span(evidence.block_span), clusters_in_all(evidence));
  if (!evidence.conditions_known) out.when_note += " The capture tells nothing of balancing, charge, heat or supply.";
  if (could_not > 0)
    out.when_note += fmt::format(" {} could not be tested for want of failures or of anything to compare with.",
                                 words::counted(could_not, "condition"));
  auto cases = cases_of(evidence, outstanding);
  std::uint64_t left = 0;
  for (auto& each : cases) {
    if (out.cases.size() < most_cases) {
      out.cases.push_back(finding_of(evidence, std::move(each)));
    } else {
      left += each.incidents.size() * evidence.one_incident_in;
    }
  }
  if (left > 0)
    out.cautions.push_back(fmt::format("{} of other kinds are not told of.", words::counted(left, "failure")));
  if (evidence.tallied > 0) {
    out.cautions.push_back(fmt::format(
        "{} exchanges have no record of their own (a thinned capture): rates by condition take only those that have.",
        words::count(evidence.tallied)));
  }
  if (evidence.missing_spans > 0) {
    out.cautions.push_back(fmt::format("{} of the run were not seen.", words::counted(evidence.missing_spans, "span")));
  }
  if (evidence.one_incident_in > 1) {
    out.cautions.push_back(fmt::format("Of the failures one in {} was looked at.", evidence.one_incident_in));
  }
  return out;
}

}  // namespace hopbench
