#include "judge/subgroups.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <tuple>

#include "judge/held_out.h"

namespace hopbench {
namespace {

using Search = SubgroupSearch;

/// Nats that one more trait must add for each hit, and besides them.
constexpr double least_gain_a_hit = 0.08;
constexpr double least_gain_more = 3;
/// Less than this for each hit tells hardly anything: that short frames are hit less often than long ones, say.
constexpr double least_gain_at_all = 0.15;
/// Nats for each hit that a trait of the next rank must add.
constexpr double least_gain_a_rank = 0.02;
constexpr std::size_t most_tries = 3;  // descriptions that are tested before the search is given up

struct Description {
  std::vector<std::uint32_t> traits;
  Sides in;
  double accuracy = 0;
  double gain = 0;  // of log likelihood, in nats
  std::uint32_t rank = 0;
};

double log_ratio(double part, double expected) { return part > 0 ? part * std::log(part / expected) : 0; }

class Beam {
 public:
  Beam(const BitTable& table, Bits left) : table_(&table), left_(std::move(left)) {
    all_ = table.count(left_, table.all(), false);
    // Where a few others stand for many, that none of them is covered says less.
    double others = 0;
    for (const Compared& item : table.items()) others += item.hit || item.held_out ? 0 : 1;
    half_of_one_ = others > 0 ? 0.5 * std::min(4.0, all_.others / others) : 0;
  }

  [[nodiscard]] bool worth_it() const { return all_.hits >= Search::least_hits && all_.others > 0; }
  [[nodiscard]] std::uint64_t tried() const { return tried_; }
  [[nodiscard]] double hits() const { return all_.hits; }

  /// The best of each number of traits; of those the smallest first.
  std::vector<std::vector<Description>> run() {
    std::vector<std::vector<Description>> levels;
    std::vector<Description> parents(1);
    for (std::size_t depth = 1; depth <= Search::deepest && !parents.empty(); ++depth) {
      std::vector<Description> found;
      for (const Description& parent : parents) extend(parent, found);
      parents = best_of(std::move(found));
      levels.push_back(parents);
    }
    return levels;
  }

  /// How much better two shares of hits, inside and outside, tell who is hit than one.
  [[nodiscard]] double gain_of(const Sides& in) const {
    const double others = in.others + half_of_one_;
    const double inside = in.hits + others;
    const double all = all_.hits + all_.others + half_of_one_;
    const double share = all_.hits / all;
    return log_ratio(in.hits, inside * share) + log_ratio(others, inside * (1 - share)) +
           log_ratio(all_.hits - in.hits, (all - inside) * share) +
           log_ratio(all_.others + half_of_one_ - others, (all - inside) * (1 - share));
  }

 private:
  void extend(const Description& parent, std::vector<Description>& found) {
    Bits among = table_->all_of(parent.traits);
    for (std::size_t i = 0; i < among.size(); ++i) among[i] &= left_[i];
    const Sides whole = table_->count(among, table_->all(), false);
    for (std::uint32_t next = 0; next < table_->traits(); ++next) {
      if (is_kin(parent, next)) continue;
      ++tried_;
      Description one;
      one.in = table_->count(among, table_->bits(next), false);
      if (one.in.hits < Search::least_hits || one.in.hits < 0.05 * all_.hits) continue;
      if (one.in.hits == whole.hits && one.in.others == whole.others) continue;  // it adds nothing
      one.accuracy = one.in.hits / all_.hits - one.in.others / all_.others;
      one.gain = gain_of(one.in);
      if (one.accuracy <= 0 || one.gain <= parent.gain) continue;
      one.traits = parent.traits;
      one.traits.push_back(next);
      one.rank = parent.rank + table_->trait(next).rank;
      found.push_back(std::move(one));
    }
  }

  /// The same as one that the description has, or of those of which it has one.
  [[nodiscard]] bool is_kin(const Description& parent, std::uint32_t next) const {
    const std::uint32_t kin = table_->trait(next).kin;
    return std::any_of(parent.traits.begin(), parent.traits.end(), [&](std::uint32_t each) {
      return each == next || (kin != 0 && table_->trait(each).kin == kin);
    });
  }

  /// Half of the beam by accuracy, half by likelihood, without those that cover the same as a lower-ranked one.
  static std::vector<Description> best_of(std::vector<Description> found) {
    std::stable_sort(found.begin(), found.end(), [](const auto& a, const auto& b) {
      return std::tuple(-a.gain, -a.in.hits, a.rank) < std::tuple(-b.gain, -b.in.hits, b.rank);
    });
    const auto same = [](const auto& a, const auto& b) {
      return a.in.hits == b.in.hits && a.in.others == b.in.others && a.gain == b.gain;
    };
    found.erase(std::unique(found.begin(), found.end(), same), found.end());
    std::vector<Description> kept;
    const std::size_t half = Search::width / 2;
    for (std::size_t i = 0; i < std::min(half, found.size()); ++i) kept.push_back(found[i]);
    if (found.size() > half) {
      std::stable_sort(found.begin() + half, found.end(),
                       [](const auto& a, const auto& b) { return a.accuracy > b.accuracy; });
      for (std::size_t i = half; i < std::min(Search::width, found.size()); ++i) kept.push_back(found[i]);
    }
    std::stable_sort(kept.begin(), kept.end(), [](const auto& a, const auto& b) { return a.gain > b.gain; });
    return kept;
  }

  const BitTable* table_;
  Bits left_;
  Sides all_;
  double half_of_one_ = 0;
  std::uint64_t tried_ = 0;
};

/// The smallest and plainest that separates well: one more trait must add much, and so must one of a higher rank.
std::optional<Description> chosen(const std::vector<std::vector<Description>>& levels, double hits,
                                  const std::vector<std::vector<std::uint32_t>>& refused) {
  std::optional<Description> best;
  double most = 0;
  for (const auto& level : levels) {
    for (const Description& each : level) {
      if (std::find(refused.begin(), refused.end(), each.traits) != refused.end()) continue;
      const auto traits = static_cast<double>(each.traits.size());
      const double price = least_gain_a_hit * traits + least_gain_a_rank * static_cast<double>(each.rank);
      const double worth = each.gain - price * hits - least_gain_more * traits;
      if (best && worth <= most) continue;
      best = each;
      most = worth;
    }
  }
  return best;
}

/// Takes away what does not matter on the half held out. What is left matters; empty: nothing is.
std::vector<std::uint32_t> tested(const BitTable& table, const Bits& left, std::vector<std::uint32_t> traits,
                                  std::uint64_t& tests, double& p) {
  while (!traits.empty()) {
    std::size_t worst = 0;
    p = 0;
    for (std::size_t i = 0; i < traits.size(); ++i) {
      auto rest = traits;
      rest.erase(rest.begin() + static_cast<std::ptrdiff_t>(i));
      const double one = held_out_p(table, left, rest, traits[i]);
      ++tests;
      if (one >= p) {
        p = one;
        worst = i;
      }
    }
    p = std::min(1.0, p * Search::most_tests);
    if (p < Search::level) break;
    traits.erase(traits.begin() + static_cast<std::ptrdiff_t>(worst));
  }
  return traits;
}

void fill(const BitTable& table, const Bits& left, Subgroup& found) {
  found.covered = table.all_of(found.traits);
  for (std::size_t i = 0; i < left.size(); ++i) found.covered[i] &= left[i];
  for (const bool held_out : {false, true}) {
    const Sides in = table.count(found.covered, table.all(), held_out);
    const Sides all = table.count(left, table.all(), held_out);
    found.in.hits += in.hits;
    found.in.others += in.others;
    found.out.hits += all.hits - in.hits;
    found.out.others += all.others - in.others;
  }
}

/// The best of one trait, if time is what it lacks.
std::optional<Subgroup> open_one(const BitTable& table, const Bits& left, const std::vector<Description>& single) {
  if (single.empty() || !table.trait(single.front().traits.front()).slow) return std::nullopt;
  Subgroup open;
  open.traits = single.front().traits;
  fill(table, left, open);
  return open;
}

}  // namespace

Subgroups subgroups_of(const BitTable& table) {
  Subgroups result;
  Bits left = table.all();
  while (result.found.size() < Search::most) {
    Beam beam(table, left);
    if (!beam.worth_it()) break;
    const auto levels = beam.run();
    result.tried += beam.tried();
    std::vector<std::vector<std::uint32_t>> refused;
    Subgroup found;
    for (std::size_t tries = 0; tries < most_tries && found.traits.empty(); ++tries) {
      const auto best = chosen(levels, beam.hits(), refused);
      if (!best || best->gain < least_gain_at_all * beam.hits() ||
          result.tested + 6 > static_cast<std::uint64_t>(Search::most_tests))
        break;
      found.traits = tested(table, left, best->traits, result.tested, found.p);
      // What is left of it may tell hardly anything.
      if (beam.gain_of(table.count(table.all_of(found.traits), left, false)) < least_gain_at_all * beam.hits()) {
        found.traits.clear();
      }
      refused.push_back(best->traits);
    }
    if (found.traits.empty()) {
      if (result.found.empty() && !levels.empty()) result.open = open_one(table, left, levels.front());
      break;
    }
    fill(table, left, found);
    for (std::size_t i = 0; i < table.items().size(); ++i) {
      if (table.items()[i].hit && table.holds(found.covered, i)) table.clear(left, i);
    }
    result.found.push_back(std::move(found));
  }
  return result;
}

}  // namespace hopbench
