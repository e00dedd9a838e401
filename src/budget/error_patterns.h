// Which patterns of wrong bits a cyclic redundancy check does not notice: how many of each weight.
//
// A pattern goes unnoticed if the syndromes of its bits, x^i modulo the generator, add up to nothing. How many do is
// counted by MacWilliams' identity from the weights of the dual code (F. MacWilliams, N. Sloane, "The Theory of
// Error-Correcting Codes", 1977, chapter 5, from memory); these come from one Walsh-Hadamard transform over all values
// of the register. For registers too wide for that, weights up to four are counted by sorting sums of pairs.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "bus/crc.h"

namespace hopbench {

/// x^i modulo the generator, for i below `bits`: the check's own bits first, the data's last bit next.
std::vector<std::uint64_t> syndromes_of(const CrcModel& model, std::size_t bits);

struct UnnoticedPatterns {
  static constexpr std::size_t most_weight = 8;
  std::size_t bits = 0;     // that can be wrong
  std::uint32_t width = 0;  // of the check: of patterns that are not counted, one in 2^width is taken to be unnoticed
  std::size_t counted_to = 0;  // weights up to this are exact
  std::array<double, most_weight + 1> of_weight{};

  /// The least number of wrong bits that may go unnoticed. `at_least`: nothing up to counted_to does, and nobody looked
  /// beyond. One more than there are bits: nothing does.
  [[nodiscard]] std::size_t distance(bool& at_least) const;
  /// Probability that some wrong bits go unnoticed, each bit being wrong with `bit_error` by itself:
  /// the sum of of_weight[i] p^i (1 - p)^(bits - i) (J. Wolf, A. Michelson, A. Levesque, "On the probability of
  /// undetected error for linear block codes", IEEE Trans. Commun. 30(2), 1982, from memory).
  [[nodiscard]] double probability(double bit_error) const;
};

/// Exact up to weight eight for registers of up to 20 bits; up to four, or three for more than 4,096 bits, for wider
/// ones.
UnnoticedPatterns unnoticed_patterns(std::uint32_t width, std::span<const std::uint64_t> syndromes);

}  // namespace hopbench
