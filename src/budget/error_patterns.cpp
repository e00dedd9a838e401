#include "budget/error_patterns.h"

#include <algorithm>
#include <map>

namespace hopbench {
namespace {

using Wide = __int128;
constexpr std::uint32_t widest_transform = 20;
constexpr std::size_t most_for_pairs = 4'096;

/// Of each word of the dual code, its length less twice its weight; then how many words have which weight.
std::map<std::int64_t, std::int64_t> dual_weights(std::uint32_t width, std::span<const std::uint64_t> syndromes) {
  std::vector<std::int32_t> sums(std::size_t{1} << width, 0);
  for (const std::uint64_t syndrome : syndromes) ++sums[syndrome];
  for (std::size_t step = 1; step < sums.size(); step *= 2) {
    for (std::size_t from = 0; from < sums.size(); from += 2 * step) {
      for (std::size_t i = from; i < from + step; ++i) {
        const std::int32_t a = sums[i];
        const std::int32_t b = sums[i + step];
        sums[i] = a + b;
        sums[i + step] = a - b;
      }
    }
  }
  std::map<std::int64_t, std::int64_t> words;
  const auto bits = static_cast<std::int64_t>(syndromes.size());
  std::sort(sums.begin(), sums.end());
  for (std::size_t i = 0; i < sums.size();) {
    const auto same = static_cast<std::size_t>(std::upper_bound(sums.begin(), sums.end(), sums[i]) - sums.begin());
    words[(bits - sums[i]) / 2] += static_cast<std::int64_t>(same - i);
    i = same;
  }
  return words;
}

void count_by_dual(UnnoticedPatterns& found, std::span<const std::uint64_t> syndromes) {
  const auto n = static_cast<Wide>(syndromes.size());
  std::array<Wide, UnnoticedPatterns::most_weight + 1> sums{};
  for (const auto& [weight, words] : dual_weights(found.width, syndromes)) {
    // Krawtchouk polynomials by their recurrence: (j + 1) K(j + 1) = (n - 2x) K(j) - (n - j + 1) K(j - 1).
    Wide before = 0;
    Wide here = 1;
    for (std::size_t j = 0; j < sums.size(); ++j) {
      sums[j] += words * here;
      const auto next = ((n - 2 * weight) * here - (n - static_cast<Wide>(j) + 1) * before) / static_cast<Wide>(j + 1);
      before = here;
      here = next;
    }
  }
  found.counted_to = UnnoticedPatterns::most_weight;
  for (std::size_t j = 0; j < sums.size(); ++j) found.of_weight[j] = static_cast<double>(sums[j] >> found.width);
}

void count_by_pairs(UnnoticedPatterns& found, std::span<const std::uint64_t> syndromes) {
  std::vector<std::uint64_t> one(syndromes.begin(), syndromes.end());
  std::sort(one.begin(), one.end());
  const auto count_equal = [](const std::vector<std::uint64_t>& sorted) {
    double pairs = 0;
    for (std::size_t i = 0; i < sorted.size();) {
      const auto same =
          static_cast<std::size_t>(std::upper_bound(sorted.begin(), sorted.end(), sorted[i]) - sorted.begin());
      pairs += static_cast<double>(same - i) * static_cast<double>(same - i - 1) / 2;
      i = same;
    }
    return pairs;
  };
  found.of_weight[0] = 1;
  found.of_weight[1] = static_cast<double>(std::count(one.begin(), one.end(), std::uint64_t{0}));
  found.of_weight[2] = count_equal(one);
  found.counted_to = 2;
  // Beyond that, sums of pairs are told apart only if single ones are.
  if (found.of_weight[1] > 0 || found.of_weight[2] > 0) return;
  double triples = 0;
  const bool few = one.size() <= most_for_pairs;
  std::vector<std::uint64_t> two;
  for (std::size_t i = 0; i < one.size(); ++i) {
    for (std::size_t j = i + 1; j < one.size(); ++j) {
      const std::uint64_t sum = one[i] ^ one[j];
      if (std::binary_search(one.begin(), one.end(), sum)) triples += 1;
      if (few) two.push_back(sum);
    }
  }
  found.of_weight[3] = triples / 3;
  found.counted_to = 3;
  if (!few) return;
  std::sort(two.begin(), two.end());
  found.of_weight[4] = count_equal(two) / 3;  // four bits make three pairs of pairs
  found.counted_to = 4;
}

double power(double base, std::size_t exponent) {
  double result = 1;
  for (; exponent != 0; exponent /= 2, base *= base) {
    if (exponent % 2 != 0) result *= base;
  }
  return result;
}

}  // namespace

std::vector<std::uint64_t> syndromes_of(const CrcModel& model, std::size_t bits) {
  const std::uint64_t top = std::uint64_t{1} << (model.width - 1);
  const std::uint64_t mask = top | (top - 1);
  std::vector<std::uint64_t> syndromes;
  std::uint64_t state = 1;
  for (std::size_t i = 0; i < bits; ++i) {
    syndromes.push_back(state);
    const bool over = (state & top) != 0;
    state = (state << 1U) & mask;
    if (over) state ^= model.poly & mask;
  }
  return syndromes;
}

std::size_t UnnoticedPatterns::distance(bool& at_least) const {
  at_least = false;
  for (std::size_t weight = 1; weight <= counted_to; ++weight) {
    if (of_weight[weight] > 0) return weight;
  }
  at_least = bits > counted_to;
  return std::min(counted_to, bits) + 1;
}

double UnnoticedPatterns::probability(double bit_error) const {
  if (bit_error <= 0 || bit_error >= 1) return 0;
  const double odds = bit_error / (1 - bit_error);
  double patterns = 1;                       // of this weight, in all
  double each = power(1 - bit_error, bits);  // probability of one of them
  const double share = 1 / power(2, width);
  double sum = 0;
  for (std::size_t weight = 1; weight <= bits; ++weight) {
    patterns *= static_cast<double>(bits - weight + 1) / static_cast<double>(weight);
    each *= odds;
    const double term = (weight <= counted_to ? of_weight[weight] : patterns * share) * each;
    sum += term;
    if (weight > counted_to && weight > bits / 2 && term < sum * 1e-12) break;
    if (patterns > 1e290 || (each < 1e-290 && weight > counted_to)) break;
  }
  return sum;
}

UnnoticedPatterns unnoticed_patterns(std::uint32_t width, std::span<const std::uint64_t> syndromes) {
  UnnoticedPatterns found;
  found.bits = syndromes.size();
  found.width = width;
  if (width <= widest_transform) {
    count_by_dual(found, syndromes);
  } else {
    count_by_pairs(found, syndromes);
  }
  return found;
}

}  // namespace hopbench
