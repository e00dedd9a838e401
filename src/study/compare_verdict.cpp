#include "study/compare_verdict.h"

#include <fmt/format.h>

#include <algorithm>

#include "study/words.h"

namespace hopbench {
namespace {

constexpr std::size_t least_clusters = 4;
constexpr double least_overlap = 0.2;

std::string changed_by(const SharePair& pair, const std::string& what) {
  return fmt::format("{} {} from {} to {}", what, pair.difference.value < 0 ? "fell" : "rose",
                     words::share(pair.before.share()), words::share(pair.after.share()));
}

/// Places that became worse.
std::vector<std::string> worse_places(const Comparison& result) {
  std::vector<std::string> places;
  for (const auto* group : {&result.hops, &result.nodes, &result.topics}) {
    for (const auto& each : *group) {
      if (each.rose()) places.push_back(each.name);
    }
  }
  return places;
}

}  // namespace

void say(Comparison& result, Verdict verdict, std::string_view verdict_words, const std::string& rest) {
  std::string real = fmt::format(" ({})", in_passing(result.before));
  if (result.before != result.after) {
    // The reason why they are not comparable tells both; what can be compared tells them here.
    const bool comparable = anything_simulated(result.before) && anything_simulated(result.after);
    real =
        comparable ? fmt::format(" (before: {}; after: {})", in_passing(result.before), in_passing(result.after)) : "";
  }
  result.verdict = verdict;
  result.sentence = fmt::format("{}{}{}", verdict_words, real, rest);
}

void decide(Comparison& result, const CompareOptions& options) {
  const auto& tries = result.tries;
  const auto& exchanges = result.exchanges;
  if (std::min(result.clusters_before, result.clusters_after) < least_clusters) {
    say(result, Verdict::not_comparable, "Not comparable",
        fmt::format(": {} before and {} after{}; at least {} of each are needed to tell a change from chance.",
                    result.clusters_before, result.clusters_after,
                    result.unit.empty() ? std::string() : fmt::format(" ({})", result.unit), least_clusters));
    return;
  }
  if (!result.balancing.empty() && result.overlap < least_overlap) {
    say(result, Verdict::not_comparable, "Not comparable",
        fmt::format(": before and after hardly ever had equal numbers of cells balancing ({} of the tries).",
                    words::share(result.overlap)));
    return;
  }
  const bool equal_changed = result.common_adjusted <= compare_level && result.common.difference != 0;
  const bool equal_rose = equal_changed && result.common.difference > 0;
  const bool rose = tries.rose() || exchanges.rose();
  const bool fell = (tries.changed() && !tries.rose()) || (exchanges.changed() && !exchanges.rose());
  const auto places = worse_places(result);
  const std::string by =
      fmt::format("p {} over {}", words::chance(std::min(tries.adjusted, exchanges.adjusted)), result.unit);
  const auto& main = tries.changed() ? tries : exchanges;
  const std::string what = tries.changed() ? "tries that failed" : "exchanges not answered";
  if (equal_changed && !rose && !fell && (equal_rose || places.empty())) {
    say(result, equal_rose ? Verdict::worse : Verdict::better,
        fmt::format("{} at equal numbers of cells balancing", equal_rose ? "Worse" : "Better"),
        fmt::format(": {} points of tries that failed (p {} over {}). As a whole no difference is seen.",
                    words::points(result.common.difference), words::chance(result.common_adjusted), result.unit));
    return;
  }
  if (rose || !places.empty()) {
    if (rose) {
      const auto& up = tries.rose() ? tries : exchanges;
      say(result, Verdict::worse, "Worse",
          fmt::format(": {} ({}).", changed_by(up, tries.rose() ? "tries that failed" : "exchanges not answered"), by));
      if (fell) result.sentence += " " + changed_by(tries.rose() ? exchanges : tries, "The other measure") + ".";
    } else if (fell) {
      say(result, Verdict::worse, "Better as a whole, worse in places",
          fmt::format(": {} ({}).", changed_by(main, what), by));
    } else {
      say(result, Verdict::worse, "Worse in places, no difference seen as a whole", ".");
    }
    if (!places.empty()) {
      std::vector<std::string> named(places.begin(), places.begin() + std::min<std::ptrdiff_t>(5, std::ssize(places)));
      result.sentence +=
          fmt::format(" Worse: {}{}.", words::list(named),
                      places.size() > named.size() ? fmt::format(" and {} more", places.size() - named.size()) : "");
    }
    return;
  }
  if (fell) {
    say(result, Verdict::better, "Better", fmt::format(": {} ({}).", changed_by(main, what), by));
    if (!result.balancing.empty() && !equal_changed) {
      result.sentence +=
          " At equal numbers of cells balancing no difference is seen: it is better because fewer cells balanced at "
          "once, or at other times. If that was the change, it holds; if not, the two are not alike.";
    } else if (equal_rose) {
      result.verdict = Verdict::worse;
      result.sentence += " At equal numbers of cells balancing it is worse: fewer balanced, and those did more harm.";
    } else if (equal_changed) {
      result.sentence += " It is so at equal numbers of cells balancing as well.";
    }
    return;
  }
  const double matters = std::max(options.worse_by, tries.before.share());
  const std::string could =
      fmt::format("a rise of tries that failed from {} to {} would have been seen four times of five",
                  words::share(tries.before.share()), words::share(tries.before.share() + tries.smallest_rise));
  if (tries.difference.high < matters) {
    say(result, Verdict::no_difference, "No difference seen", fmt::format("; {}.", could));
  } else {
    say(result, Verdict::cannot_say, "Cannot say",
        fmt::format(": no difference seen, but up to {} more of the tries may fail now; {}.",
                    words::share(tries.difference.high), could));
  }
}

std::string_view name_of(Verdict verdict) {
  switch (verdict) {
    case Verdict::better:
      return "better";
    case Verdict::worse:
      return "worse";
    case Verdict::no_difference:
      return "no_difference_seen";
    case Verdict::cannot_say:
      return "cannot_say";
    case Verdict::not_comparable:
      break;
  }
  return "not_comparable";
}

bool SharePair::changed() const { return adjusted <= compare_level && difference.value != 0; }

}  // namespace hopbench
