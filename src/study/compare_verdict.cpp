#include "study/compare_verdict.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "study/compare_power.h"
#include "study/words.h"

namespace hopbench {
namespace {

constexpr std::size_t least_clusters = 4;
constexpr double least_overlap = 0.2;

std::string changed_by(const SharePair& pair, const std::string& what) {
  return fmt::format("{} {} from {} to {}", what, pair.difference.value < 0 ? "fell" : "rose",
                     words::share(pair.before.share()), words::share(pair.after.share()));
}

std::string counts(Counted counted) {
  const auto whole = [](double number) { return words::count(static_cast<std::uint64_t>(std::llround(number))); };
  return fmt::format("{} of {}", whole(counted.hits), whole(counted.trials));
}

/// "12 of 5,000 tries failed before (0.24 %), 7 of 5,100 after (0.14 %); p 0.27 over charge cycles."
std::string both_sides(const Comparison& result) {
  const auto& tries = result.tries;
  return fmt::format("{} tries failed before ({}), {} after ({}); p {} over {}.", counts(tries.before),
                     words::share(tries.before.share()), counts(tries.after), words::share(tries.after.share()),
                     words::chance(tries.adjusted), result.unit);
}

std::string what_may_hide(const Comparison& result) {
  const double before = result.tries.before.share();
  std::vector<std::string> hidden;
  if (rise_may_hide(result))
    hidden.push_back(fmt::format("a rise to {} or more", words::share(before + result.rise_that_matters)));
  if (fall_may_hide(result))
    hidden.push_back(fmt::format("a fall to {} or less", words::share(before - result.fall_that_matters)));
  const auto& limits = result.tries.difference;
  return fmt::format("The difference lies between {} and {} points (95 % confidence interval), so {} may hide in it.",
                     words::points(limits.low), words::points(limits.high), words::list(hidden, "or"));
}

/// "14 more charge cycles (14 d)", "25 min more".
std::string clusters(const Comparison& result, std::uint64_t number) {
  const std::string span = words::long_span(static_cast<double>(result.cluster_span) * static_cast<double>(number));
  if (result.unit != "charge cycles") return span + " more";
  return fmt::format("{} ({})", words::counted(number, "more charge cycle"), span);
}

/// What it takes to show what the data suggest, or to rule out what may hide: whichever takes less.
std::string what_is_missing(const Comparison& result) {
  const auto sum = [](const std::optional<More>& more) {
    return more ? more->before + more->after : ~std::uint64_t{0};
  };
  const bool show = sum(result.to_show) < sum(result.to_rule_out);
  const auto& more = show ? result.to_show : result.to_rule_out;
  const std::string what = !show                               ? "rule that out"
                           : result.tries.difference.value > 0 ? "show a rise as large as this"
                                                               : "show a fall as large as this";
  if (!more) return " More than a thousand times as much would be needed to tell.";
  const auto each = [&] {
    return fmt::format("{} before the change and {} after it", clusters(result, more->before),
                       clusters(result, more->after));
  };
  const std::string stay = "If the shares stay as they are, it takes about";
  if (!more->after_only) {
    return fmt::format(" {} {} to {}; more after it alone is not enough.", stay, each(), what);
  }
  return fmt::format(" {} {} after the change to {} (or {}).", stay, clusters(result, *more->after_only), what, each());
}

/// Places that became worse.
std::vector<std::string> worse_places(const Comparison& result) {
  std::vector<std::string> places;
  for (const auto* group : {&result.hops, &result.nodes, &result.topics}) {
    for (const auto& each : *group) {
      if (each.rose() && !each.same_as_tries) places.push_back(each.name);
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

std::string would_have_been_seen(const Comparison& result) {
  const auto& tries = result.tries;
  const double before = tries.before.share();
  const std::string terms =
      fmt::format("(power {:.0f} %, level {:.2g} %{})", 100 * compare_power, 100 * tries.level,
                  result.tests > 1 ? fmt::format(" for each of {} tests", result.tests) : std::string());
  std::vector<std::string> seen;
  if (tries.smallest_rise) seen.push_back(fmt::format("a rise to {}", words::share(before + *tries.smallest_rise)));
  if (tries.smallest_fall) seen.push_back(fmt::format("a fall to {}", words::share(before - *tries.smallest_fall)));
  if (seen.empty()) return fmt::format("So few {} would have shown no change, however large {}.", result.unit, terms);
  std::string text = fmt::format("{} would have been seen {}.", words::list(seen, "or"), terms);
  text.front() = 'A';
  if (!tries.smallest_fall && before > 0) text += " Not even a fall to nothing would have been.";
  if (!tries.smallest_rise) text += " No rise, however large, would have been.";
  return text;
}

void decide(Comparison& result) {
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
  const bool equal_tested = !result.balancing.empty() && !result.equal_numbers;
  const bool equal_changed = equal_tested && result.common_adjusted <= compare_level && result.common.difference != 0;
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
    if (equal_tested && !equal_changed) {
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
  if (!rise_may_hide(result) && !fall_may_hide(result)) {
    say(result, Verdict::no_difference, "No difference seen",
        fmt::format(": {} {}", both_sides(result), would_have_been_seen(result)));
  } else {
    say(result, Verdict::cannot_say, "Cannot say",
        fmt::format(": {} {} {}{}", both_sides(result), what_may_hide(result), would_have_been_seen(result),
                    what_is_missing(result)));
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
