// Shares from 0 to 1, drawn one after another, for observations that tests make up.
#pragma once

#include <cstddef>
#include <cstdint>

namespace hopbench {

/// SplitMix64 (Steele, Lea and Flood, OOPSLA 2014).
class Shares {
 public:
  explicit Shares(std::uint64_t seed) : state_(seed * 0x9e3779b97f4a7c15U) {}
  double next() {
    std::uint64_t z = (state_ += 0x9e3779b97f4a7c15U);
    z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9U;
    z = (z ^ (z >> 27U)) * 0x94d049bb133111ebU;
    return static_cast<double>((z ^ (z >> 31U)) >> 11U) * 0x1p-53;
  }
  std::size_t below(std::size_t limit) { return static_cast<std::size_t>(next() * static_cast<double>(limit)); }

 private:
  std::uint64_t state_;
};

}  // namespace hopbench
