#include "study/when_words.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "judge/limits.h"
#include "judge/merged_bins.h"
#include "study/words.h"

namespace hopbench {
namespace {

constexpr std::size_t most_ranges = 8;

using ByBin = std::array<Counted, bin_count>;

ByBin by_bin(const std::vector<Tried>& rows) {
  ByBin counts;
  for (const auto& row : rows) {
    auto& bin = counts[static_cast<std::size_t>(row.value) % bin_count];
    bin.trials += row.tries;
    bin.hits += row.failures;
  }
  return counts;
}

Counted sum_of(const ByBin& bins, std::size_t first, std::size_t last) {
  Counted sum;
  for (std::size_t bin = first; bin <= last; ++bin) {
    sum.hits += bins[bin].hits;
    sum.trials += bins[bin].trials;
  }
  return sum;
}

double surely(Counted counts) {
  const auto share = effective_share(std::min(counts.hits, counts.trials), counts.trials);
  return share ? share->low : 0;
}

std::string at(Condition condition, const ByBin& bins, BinRange range) {
  return fmt::format("{} at {}", words::share(sum_of(bins, range.first, range.last).share()),
                     range_text(condition, range.first, range.last));
}

/// The worst six hours in a row against the others.
std::string hours(const ByBin& bins) {
  constexpr std::size_t day = 24;
  constexpr std::size_t stretch = 6;
  const auto all = sum_of(bins, 0, day - 1);
  std::size_t worst = 0;
  Counted most{-1, 1};
  for (std::size_t from = 0; from < day; ++from) {
    Counted sum;
    for (std::size_t i = 0; i < stretch; ++i) {
      sum.hits += bins[(from + i) % day].hits;
      sum.trials += bins[(from + i) % day].trials;
    }
    if (sum.trials <= 0 || sum.hits / sum.trials <= most.hits / most.trials) continue;
    worst = from;
    most = sum;
  }
  const Counted rest{all.hits - most.hits, all.trials - most.trials};
  return fmt::format("{} from {:02}:00 to {:02}:00, {} at other hours", words::share(most.share()), worst,
                     (worst + stretch) % day, words::share(rest.share()));
}

/// Upwards, to where surely most failed, or from there: "from 0.0030 % at no cell to 4.6 % at 17 to 32 cells".
std::string from_to(Condition condition, bool rises, const ByBin& bins) {
  if (condition == Condition::hour) return hours(bins);
  const auto ranges = merged_bins(bins, most_ranges);
  if (ranges.size() < 2) return {};
  const auto first = rises ? ranges.begin() + 1 : ranges.begin();
  const auto worst = std::max_element(first, rises ? ranges.end() : ranges.end() - 1, [&](BinRange a, BinRange b) {
    return surely(sum_of(bins, a.first, a.last)) < surely(sum_of(bins, b.first, b.last));
  });
  return fmt::format("from {} to {}", at(condition, bins, rises ? ranges.front() : *worst),
                     at(condition, bins, rises ? *worst : ranges.back()));
}

std::string p_text(double p) { return p < 0.0001 ? "p below 0.0001" : "p = " + words::chance(p); }

/// Whether what is independent for this condition is a charge cycle.
bool by_cycles(const Evidence& evidence, Condition condition) {
  return clusters_are_cycles(evidence) &&
         (is_state(condition) || condition == Condition::hour || condition == Condition::payload);
}

/// With what is independent where that is not what the report says of all.
std::string test_of(const Evidence& evidence, const When& when) {
  const auto p = p_text(when.adjusted_p);
  if (!clusters_are_cycles(evidence)) return p;
  if (!by_cycles(evidence, when.condition)) {
    return fmt::format("{} over {} of {}", p, words::counted(when.trend.clusters, "block"),
                       words::span(evidence.block_span));
  }
  const auto all = clusters_in_all(evidence);
  return when.trend.clusters == all ? p : fmt::format("{} over {} of {} charge cycles", p, when.trend.clusters, all);
}

std::string names_of(const std::vector<Condition>& conditions) {
  std::vector<std::string> names;
  for (const auto each : conditions) names.emplace_back(phrase_of(each));
  return words::list(names);
}

/// Behind "at equal": "number of cells balancing and charge current".
std::string equal_names(const std::vector<Condition>& conditions) {
  std::vector<std::string> names;
  for (const auto each : conditions) {
    auto name = std::string(phrase_of(each));
    names.push_back(name.starts_with("the ") ? name.substr(4) : name);
  }
  return words::list(names);
}

/// "9 more charge cycles (7.7 d)", "3.2 h more".
std::string more_text(const Evidence& evidence, const When& when, std::uint64_t more) {
  const bool cycles = by_cycles(evidence, when.condition);
  const double span = static_cast<double>(evidence.until - evidence.from);
  const double each =
      cycles ? span / std::max(1U, clusters_in_all(evidence)) : static_cast<double>(evidence.block_span);
  const auto length = words::long_span(each * static_cast<double>(more));
  if (!cycles) return length + " more";
  return fmt::format("{} more charge cycle{} ({})", words::count(more), more == 1 ? "" : "s", length);
}

/// "Failures rise with it, from ... to ...", or of hours what was seen at the worst.
std::string seen_of(const When& when, const std::string& change) {
  if (change.empty()) return when.trend.t > 0 ? "Failures rise with it" : "Failures fall with it";
  if (when.condition == Condition::hour) return "Failures differ by the hour, " + change;
  return fmt::format("Failures {} with it, {}", when.trend.t > 0 ? "rise" : "fall", change);
}

std::string not_apart(const Evidence& evidence, const When& when) {
  const bool told =
      std::all_of(when.beside.begin(), when.beside.end(), [&](Condition other) { return evidence.is_known(other); });
  return told ? fmt::format("It cannot be told apart from {}", names_of(when.beside))
              : fmt::format("Nobody told {}, which may be behind it", names_of(when.beside));
}

std::string sentence_of(const Evidence& evidence, const When& when, const ByBin& bins) {
  const auto title = title_of(when.condition);
  const auto seen = seen_of(when, from_to(when.condition, when.trend.t > 0, bins));
  const auto test = test_of(evidence, when);
  switch (when.standing) {
    case Standing::proven:
      return fmt::format("{}: proven ({}). {}.{}", title, test, seen,
                         when.beside.empty() ? "" : fmt::format(" So too at equal {}.", equal_names(when.beside)));
    case Standing::not_apart:
      return fmt::format("{}: open ({}). {}. {}.", title, test, seen, not_apart(evidence, when));
    case Standing::explained:
      return fmt::format("{}: no effect of its own ({}). {}, but not at equal {}.", title, test, seen,
                         equal_names(when.beside));
    case Standing::small:
      return fmt::format("{}: too little to act on, though beyond chance ({}). {}.", title, test, seen);
    case Standing::falls:
      return fmt::format("{}: failures do not rise with it ({}).", title, test);
    case Standing::not_proven:
      if (!when.more_clusters) return fmt::format("{}: not proven ({}), next to no difference seen.", title, test);
      return fmt::format("{}: not proven ({}). {}. About {} like these would prove it.", title, test, seen,
                         more_text(evidence, when, *when.more_clusters));
    case Standing::never_other:
    case Standing::too_few:
    case Standing::not_known:
      break;
  }
  return {};
}

std::vector<std::string> phrases(const std::vector<When>& all, Standing standing) {
  std::vector<std::string> names;
  for (const auto& when : all) {
    if (is_state(when.condition) && when.standing == standing) names.emplace_back(phrase_of(when.condition));
  }
  return names;
}

/// What to do about conditions that cannot be told apart.
Advice together_of(const std::vector<When>& all) {
  const auto open = phrases(all, Standing::not_apart);
  if (open.empty()) return {};
  return {fmt::format("To tell whether {} {} by {}: change one and leave the others, for example charge once with "
                      "balancing disabled. {}",
                      words::list(open, "or"), open.size() == 1 ? "matters" : "matter",
                      open.size() == 1 ? "itself" : "themselves", watch_cells()),
          true};
}

}  // namespace

bool is_state(Condition condition) {
  return condition == Condition::balancing || condition == Condition::charge || condition == Condition::temperature ||
         condition == Condition::supply;
}

std::optional<Condition> untold_beside(const Evidence& evidence, Condition condition) {
  for (const auto other : {Condition::charge, Condition::balancing}) {
    if (other != condition && !evidence.is_known(other)) return other;
  }
  return std::nullopt;
}

void put_in_words(const Evidence& evidence, const Case& which, Whens& whens) {
  for (auto* list : {&whens.looked_at, &whens.found}) {
    for (auto& when : *list) {
      const auto bins = by_bin(tabulate(evidence, which, when.condition, {}));
      when.sentence = sentence_of(evidence, when, bins);
    }
  }
  whens.together = together_of(whens.found);
}

}  // namespace hopbench
