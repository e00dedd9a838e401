#include "judge/bit_table.h"

#include <algorithm>
#include <bit>
#include <numeric>
#include <tuple>

namespace hopbench {

BitTable::BitTable(std::vector<Compared> items) : items_(std::move(items)), place_(items_.size()) {
  std::vector<std::size_t> order(items_.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  const auto kind = [&](std::size_t i) { return std::tuple(items_[i].held_out, items_[i].hit, items_[i].weight); };
  std::stable_sort(order.begin(), order.end(), [&](auto a, auto b) { return kind(a) < kind(b); });
  std::size_t next = 0;  // bit
  for (std::size_t i = 0; i < order.size(); ++i) {
    const Compared& item = items_[order[i]];
    if (i == 0 || kind(order[i - 1]) != kind(order[i])) {
      next = (next + 63) / 64 * 64;
      stretches_.push_back({next / 64, next / 64, item.weight, item.hit, item.held_out});
    }
    place_[order[i]] = next++;
    stretches_.back().last = (next + 63) / 64;
  }
  all_.assign((next + 63) / 64, 0);
  for (const auto place : place_) all_[place / 64] |= std::uint64_t{1} << (place % 64);
}

Bits BitTable::all_of(std::span<const std::uint32_t> traits) const {
  Bits bits = all_;
  for (const auto index : traits) {
    for (std::size_t i = 0; i < bits.size(); ++i) bits[i] &= bits_[index][i];
  }
  return bits;
}

Sides BitTable::count(const Bits& a, const Bits& b, bool held_out) const {
  Sides sides;
  for (const Stretch& stretch : stretches_) {
    if (stretch.held_out != held_out) continue;
    std::uint64_t set = 0;
    for (std::size_t i = stretch.first; i < stretch.last; ++i) {
      set += static_cast<std::uint64_t>(std::popcount(a[i] & b[i]));
    }
    (stretch.hit ? sides.hits : sides.others) += static_cast<double>(set) * stretch.weight;
  }
  return sides;
}

}  // namespace hopbench
