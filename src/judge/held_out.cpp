#include "judge/held_out.h"

#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <map>
#include <set>

namespace hopbench {
namespace {

double log_choose(double n, double k) { return std::lgamma(n + 1) - std::lgamma(k + 1) - std::lgamma(n - k + 1); }

struct Inside {
  double in = 0;
  double all = 0;
};

double by_bunch(const BitTable& table, const Bits& among, const Bits& tested) {
  std::map<std::uint32_t, Inside> bunches;
  Inside others;
  double squares = 0;
  for (std::size_t i = 0; i < table.items().size(); ++i) {
    const Compared& item = table.items()[i];
    if (!item.held_out || !table.holds(among, i)) continue;
    const double weight = item.hit ? 1 : item.weight;
    Inside& sum = item.hit ? bunches[item.bunch] : others;
    sum.all += weight;
    if (table.holds(tested, i)) sum.in += weight;
    if (!item.hit) squares += weight * weight;
  }
  Inside hits;
  for (const auto& [bunch, sum] : bunches) {
    hits.all += 1;
    hits.in += sum.in / sum.all;
  }
  // A few that stand for many are worth as many trials as they are, or fewer where they stand for unequal numbers.
  const double worth = squares > 0 ? others.all / squares : 0;
  return fisher_p(hits.in, hits.all, others.in * worth, others.all * worth);
}

double by_block(const BitTable& table, const Bits& among, const Bits& tested) {
  struct Block {
    Inside hits;
    Inside others;
  };
  std::map<std::uint32_t, Block> blocks;
  Inside hits;
  Inside others;
  for (std::size_t i = 0; i < table.items().size(); ++i) {
    const Compared& item = table.items()[i];
    if (!item.held_out || !table.holds(among, i)) continue;
    Block& block = blocks[item.block];
    const double in = table.holds(tested, i) ? item.weight : 0;
    Inside& sum = item.hit ? block.hits : block.others;
    Inside& total = item.hit ? hits : others;
    sum.all += item.weight;
    sum.in += in;
    total.all += item.weight;
    total.in += in;
  }
  if (hits.all <= 0 || others.all <= 0) return 1;
  const double share = (hits.in + others.in) / (hits.all + others.all);
  const double rate = hits.all / others.all;
  double sum = 0;
  double squares = 0;
  double hit_blocks = 0;
  for (const auto& [number, block] : blocks) {
    const double more = (block.hits.in - share * block.hits.all) - rate * (block.others.in - share * block.others.all);
    sum += more;
    squares += more * more;
    if (block.hits.all > 0) ++hit_blocks;
  }
  if (hit_blocks < 3 || squares <= 0 || sum <= 0) return 1;
  const boost::math::students_t_distribution<double> law(hit_blocks - 1);
  return boost::math::cdf(boost::math::complement(law, sum / std::sqrt(squares)));
}

/// Within short windows, hits against others of the same window (N. Mantel, W. Haenszel, J. Natl. Cancer Inst. 22
/// (1959) 719): what is so for all items of a window tells nothing, whatever else came and went at the same time. It
/// must be seen in some blocks all the same. 1 where that cannot be told.
double by_window(const BitTable& table, const Bits& among, const Bits& tested) {
  constexpr std::size_t least_blocks = 4;
  struct Window {
    std::map<std::uint32_t, Inside> bunches;
    Inside others;
  };
  std::map<std::uint32_t, Window> windows;
  std::set<std::uint32_t> blocks;
  for (std::size_t i = 0; i < table.items().size(); ++i) {
    const Compared& item = table.items()[i];
    if (!item.held_out || !table.holds(among, i)) continue;
    Window& window = windows[item.window];
    Inside& sum = item.hit ? window.bunches[item.bunch] : window.others;
    sum.all += 1;
    if (!table.holds(tested, i)) continue;
    sum.in += 1;
    if (item.hit) blocks.insert(item.block);
  }
  double more = 0;
  double variance = 0;
  for (const auto& [number, window] : windows) {
    Inside hits;
    for (const auto& [bunch, sum] : window.bunches) {
      hits.all += 1;
      hits.in += sum.in / sum.all;
    }
    const double all = hits.all + window.others.all;
    const double in = hits.in + window.others.in;
    if (hits.all <= 0 || window.others.all <= 0 || all < 2) continue;
    more += hits.in - hits.all * in / all;
    variance += hits.all * window.others.all * in * (all - in) / (all * all * (all - 1));
  }
  if (blocks.size() < least_blocks || variance <= 0 || more <= 0.5) return 1;
  return std::erfc((more - 0.5) / std::sqrt(2 * variance)) / 2;
}

}  // namespace

double fisher_p(double hits_in, double hits, double others_in, double others) {
  hits = std::round(hits);
  others = std::round(others);
  hits_in = std::min(hits, std::round(hits_in));
  others_in = std::min(others, std::round(others_in));
  const double in = hits_in + others_in;
  const double all = log_choose(hits + others, in);
  double p = 0;
  for (double k = hits_in; k <= std::min(hits, in); ++k) {
    const double term = std::exp(log_choose(hits, k) + log_choose(others, in - k) - all);
    p += term;
    if (term < 1e-12 * p) break;
  }
  return std::min(1.0, p);
}

double held_out_p(const BitTable& table, const Bits& left, std::span<const std::uint32_t> rest, std::uint32_t tested) {
  Bits among = table.all_of(rest);
  for (std::size_t i = 0; i < among.size(); ++i) among[i] &= left[i];
  const Bits& bits = table.bits(tested);
  if (!table.trait(tested).slow) return by_bunch(table, among, bits);
  return std::min(1.0, 2 * std::min(by_block(table, among, bits), by_window(table, among, bits)));
}

}  // namespace hopbench
