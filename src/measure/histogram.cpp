#include "measure/histogram.h"

#include <algorithm>
#include <bit>

namespace hopbench {

Histogram::Histogram(unsigned steps, unsigned top)
    : steps_(steps), top_(top), buckets_((std::size_t{1} << steps) * (top - steps + 1)) {}

std::size_t Histogram::bucket_of(std::int64_t value) const {
  const auto v = static_cast<std::uint64_t>(std::max<std::int64_t>(value, 0));
  if (v >> top_ != 0) return buckets_.size() - 1;
  const auto bits = static_cast<unsigned>(std::bit_width(v));
  if (bits <= steps_ + 1) return v;
  const unsigned shift = bits - steps_ - 1;
  return (std::size_t{shift} << steps_) + (v >> shift);
}

std::int64_t Histogram::low_of(std::size_t bucket) const {
  const std::size_t shift = bucket >> steps_;
  if (shift <= 1) return static_cast<std::int64_t>(bucket);
  const std::size_t within = bucket - ((shift - 1) << steps_);
  return static_cast<std::int64_t>(within << (shift - 1));
}

std::int64_t Histogram::width_of(std::size_t bucket) const {
  const std::size_t shift = bucket >> steps_;
  return shift <= 1 ? 1 : std::int64_t{1} << (shift - 1);
}

void Histogram::add(std::int64_t value, std::uint64_t times) {
  if (times == 0) return;
  value = std::max<std::int64_t>(value, 0);
  buckets_[bucket_of(value)] += times;
  least_ = count_ == 0 ? value : std::min(least_, value);
  most_ = count_ == 0 ? value : std::max(most_, value);
  count_ += times;
}

void Histogram::merge(const Histogram& other) {
  if (other.count_ == 0) return;
  for (std::size_t i = 0; i < buckets_.size() && i < other.buckets_.size(); ++i) buckets_[i] += other.buckets_[i];
  least_ = count_ == 0 ? other.least_ : std::min(least_, other.least_);
  most_ = count_ == 0 ? other.most_ : std::max(most_, other.most_);
  count_ += other.count_;
}

std::optional<std::int64_t> Histogram::least() const { return count_ == 0 ? std::nullopt : std::optional(least_); }

std::optional<std::int64_t> Histogram::most() const { return count_ == 0 ? std::nullopt : std::optional(most_); }

std::optional<std::int64_t> Histogram::percentile(std::uint32_t parts_per_million) const {
  // Rounded up: the value of this rank is the first with enough others at or below it.
  constexpr std::uint64_t million = 1'000'000;
  const std::uint64_t rest = (count_ % million * parts_per_million + million - 1) / million;
  const std::uint64_t rank = std::min(count_, count_ / million * parts_per_million + rest);
  if (rank == 0) return std::nullopt;
  std::uint64_t seen = 0;
  for (std::size_t i = 0; i < buckets_.size(); ++i) {
    seen += buckets_[i];
    if (seen < rank) continue;
    if (i + 1 == buckets_.size()) break;
    return std::min(most_, low_of(i) + width_of(i) - 1);
  }
  return most_;
}

std::int64_t Histogram::bucket_low(std::int64_t value) const { return low_of(bucket_of(value)); }

std::int64_t Histogram::bucket_high(std::int64_t value) const {
  const std::size_t bucket = bucket_of(value);
  return low_of(bucket) + width_of(bucket) - 1;
}

}  // namespace hopbench
