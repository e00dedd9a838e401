// Counts of values in buckets that widen with the value. Integers only; adding, merging and comparing are exact.
#pragma once

#include <algorithm>
#include <array>
#include <bit>
#include <cstdint>
#include <optional>
#include <vector>

namespace hopbench {

/// Buckets are 1 wide up to 2^(steps + 1); from there on each doubling of the value is cut into 2^steps equal
/// buckets. A value is known to within 2^-steps of itself. Smallest and largest value are kept exactly.
///
/// The buckets of a doubling take memory once a value falls into it: the times of one link of one chain lie close
/// together, and a chain has hundreds of links. From then on adding allocates nothing.
class Histogram {
 public:
  /// 128 buckets for each doubling: within 0.8 %. Values from 2^top up (2^41 ns: 36 min) share the last bucket.
  Histogram() : Histogram(7, 41) {}
  /// steps < top < 63, top - steps < 40.
  Histogram(unsigned steps, unsigned top);

  /// Negative values count as 0.
  void add(std::int64_t value, std::uint64_t times = 1) {
    for (const Recent& recent : recent_) {
      if (recent.value != value || value < 0) continue;
      buckets_[recent.slot] += times;
      count_ += times;
      return;
    }
    add_new(value, times);
  }
  /// The other must have the same steps and top.
  void merge(const Histogram& other);
  /// Takes away an earlier state of this histogram. Counts are exact; smallest and largest value of the rest are not
  /// known any more, and are told as the ends of their buckets, so that all values lie between them.
  void minus(const Histogram& earlier);
  /// Empty again; the memory is kept.
  void clear();

  [[nodiscard]] std::uint64_t count() const { return count_; }
  /// Of all values; none if there are none.
  [[nodiscard]] std::optional<std::int64_t> least() const;
  [[nodiscard]] std::optional<std::int64_t> most() const;
  /// The smallest value that at least this share of all values do not exceed (the rule of RFC 2330, section 11.3),
  /// told as the upper end of its bucket, but never above the largest value: so the share named is always reached.
  /// None if there are no values, or for a share of nothing.
  [[nodiscard]] std::optional<std::int64_t> percentile(std::uint32_t parts_per_million) const;

  /// f(smallest, largest value, count) of each bucket that is not empty, upwards. The ends lie within least() and
  /// most().
  template <class F>
  void each_bucket(F f) const {
    each([&](std::size_t bucket, std::uint64_t count) {
      f(std::max(low_of(bucket), least_), std::min(high_of(bucket), most_), count);
    });
  }

  /// Smallest and largest value of the bucket that `value` falls into.
  [[nodiscard]] std::int64_t bucket_low(std::int64_t value) const;
  [[nodiscard]] std::int64_t bucket_high(std::int64_t value) const;
  /// Bytes that the buckets take.
  [[nodiscard]] std::size_t bucket_bytes() const { return buckets_.capacity() * sizeof(std::uint64_t); }

  friend bool operator==(const Histogram& a, const Histogram& b);

 private:
  friend class HistogramCodec;

  [[nodiscard]] std::size_t bucket_count() const { return (std::size_t{top_} - steps_ + 1) << steps_; }
  [[nodiscard]] std::size_t bucket_of(std::int64_t value) const;
  [[nodiscard]] std::int64_t low_of(std::size_t bucket) const;
  [[nodiscard]] std::int64_t high_of(std::size_t bucket) const;  // of the last one: as far as the type goes
  std::size_t slot_of(std::size_t bucket);                       // in buckets_; makes room if there is none
  std::uint64_t& at(std::size_t bucket) { return buckets_[slot_of(bucket)]; }
  void add_new(std::int64_t value, std::uint64_t times);
  [[nodiscard]] const std::uint64_t* doubling(std::size_t index) const {
    return place_[index] == 0 ? nullptr : buckets_.data() + ((std::size_t{place_[index]} - 1) << steps_);
  }
  /// f(bucket, count) for each that is not empty, upwards. Goes by the count and by the smallest and largest value.
  template <class F>
  void each(F f) const {
    if (count_ == 0) return;
    const std::size_t last = bucket_of(most_);
    const std::size_t size = std::size_t{1} << steps_;
    for (std::size_t bucket = bucket_of(least_); bucket <= last;) {
      const auto* counts = doubling(bucket >> steps_);
      const std::size_t end = std::min(last + 1, (bucket | (size - 1)) + 1);
      for (; counts != nullptr && bucket < end; ++bucket) {
        if (const auto count = counts[bucket & (size - 1)]; count != 0) f(bucket, count);
      }
      bucket = end;
    }
  }

  std::uint8_t steps_;
  std::uint8_t top_;
  std::array<std::uint8_t, 40> place_{};  // of a doubling's buckets, counted from 1; 0: no room yet
  std::uint64_t count_ = 0;
  std::int64_t least_ = 0;
  std::int64_t most_ = 0;
  std::vector<std::uint64_t> buckets_;

  // Most links carry frames of two lengths: the last two values, and where they are counted.
  struct Recent {
    std::int64_t value = -1;
    std::size_t slot = 0;
  };
  std::array<Recent, 2> recent_{};
};

}  // namespace hopbench
