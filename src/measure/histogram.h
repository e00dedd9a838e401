// Counts of values in buckets that widen with the value. Integers only; adding, merging and comparing are exact.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

namespace hopbench {

/// Buckets are 1 wide up to 2^(steps + 1); from there on each doubling of the value is cut into 2^steps equal
/// buckets. A value is known to within 2^-steps of itself. Smallest and largest value are kept exactly.
class Histogram {
 public:
  /// 128 buckets for each doubling: within 0.8 %. Values from 2^top up (2^41 ns: 36 min) share the last bucket.
  Histogram() : Histogram(7, 41) {}
  Histogram(unsigned steps, unsigned top);

  /// Negative values count as 0.
  void add(std::int64_t value, std::uint64_t times = 1);
  /// The other must have the same steps and top.
  void merge(const Histogram& other);

  [[nodiscard]] std::uint64_t count() const { return count_; }
  /// Of all values; none if there are none.
  [[nodiscard]] std::optional<std::int64_t> least() const;
  [[nodiscard]] std::optional<std::int64_t> most() const;
  /// The smallest value that at least this share of all values do not exceed (the rule of RFC 2330, section 11.3),
  /// told as the upper end of its bucket, but never above the largest value: so the share named is always reached.
  /// None if there are no values, or for a share of nothing.
  [[nodiscard]] std::optional<std::int64_t> percentile(std::uint32_t parts_per_million) const;

  /// Smallest and largest value of the bucket that `value` falls into.
  [[nodiscard]] std::int64_t bucket_low(std::int64_t value) const;
  [[nodiscard]] std::int64_t bucket_high(std::int64_t value) const;

  friend bool operator==(const Histogram&, const Histogram&) = default;

 private:
  [[nodiscard]] std::size_t bucket_of(std::int64_t value) const;
  [[nodiscard]] std::int64_t low_of(std::size_t bucket) const;
  [[nodiscard]] std::int64_t width_of(std::size_t bucket) const;

  unsigned steps_;
  unsigned top_;
  std::uint64_t count_ = 0;
  std::int64_t least_ = 0;
  std::int64_t most_ = 0;
  std::vector<std::uint64_t> buckets_;
};

}  // namespace hopbench
