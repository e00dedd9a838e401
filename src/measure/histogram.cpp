#include "measure/histogram.h"

#include <algorithm>
#include <limits>

namespace hopbench {

Histogram::Histogram(unsigned steps, unsigned top)
    : steps_(static_cast<std::uint8_t>(steps)), top_(static_cast<std::uint8_t>(top)) {}

std::size_t Histogram::bucket_of(std::int64_t value) const {
  const auto v = static_cast<std::uint64_t>(std::max<std::int64_t>(value, 0));
  if (v >> top_ != 0) return bucket_count() - 1;
  const auto bits = static_cast<unsigned>(std::bit_width(v));
  if (bits <= steps_ + 1U) return v;
  const unsigned shift = bits - steps_ - 1U;
  return (std::size_t{shift} << steps_) + (v >> shift);
}

std::int64_t Histogram::low_of(std::size_t bucket) const {
  const std::size_t shift = bucket >> steps_;
  if (shift <= 1) return static_cast<std::int64_t>(bucket);
  const std::size_t within = bucket - ((shift - 1) << steps_);
  return static_cast<std::int64_t>(within << (shift - 1));
}

std::int64_t Histogram::high_of(std::size_t bucket) const {
  if (bucket + 1 >= bucket_count()) return std::numeric_limits<std::int64_t>::max();
  return low_of(bucket + 1) - 1;
}

std::size_t Histogram::slot_of(std::size_t bucket) {
  auto& place = place_[bucket >> steps_];
  const std::size_t size = std::size_t{1} << steps_;
  if (place == 0) {
    buckets_.resize(buckets_.size() + size);
    place = static_cast<std::uint8_t>(buckets_.size() >> steps_);
  }
  return ((std::size_t{place} - 1) << steps_) + (bucket & (size - 1));
}

void Histogram::add_new(std::int64_t value, std::uint64_t times) {
  if (times == 0) return;
  value = std::max<std::int64_t>(value, 0);
  recent_[1] = recent_[0];
  recent_[0] = {value, slot_of(bucket_of(value))};
  buckets_[recent_[0].slot] += times;
  least_ = count_ == 0 ? value : std::min(least_, value);
  most_ = count_ == 0 ? value : std::max(most_, value);
  count_ += times;
}

void Histogram::merge(const Histogram& other) {
  if (other.count_ == 0) return;
  other.each([&](std::size_t bucket, std::uint64_t count) { at(bucket) += count; });
  least_ = count_ == 0 ? other.least_ : std::min(least_, other.least_);
  most_ = count_ == 0 ? other.most_ : std::max(most_, other.most_);
  count_ += other.count_;
}

void Histogram::minus(const Histogram& earlier) {
  recent_ = {};
  if (earlier.count_ == 0) return;
  earlier.each([&](std::size_t bucket, std::uint64_t count) {
    auto& mine = at(bucket);
    mine -= std::min(mine, count);
  });
  std::optional<std::size_t> lowest;
  std::size_t highest = 0;
  std::uint64_t left = 0;
  each([&](std::size_t bucket, std::uint64_t count) {
    if (!lowest) lowest = bucket;
    highest = bucket;
    left += count;
  });
  count_ = left;
  least_ = lowest ? std::max(least_, low_of(*lowest)) : 0;
  most_ = lowest ? std::min(most_, high_of(highest)) : 0;
}

void Histogram::clear() {
  recent_ = {};
  std::fill(buckets_.begin(), buckets_.end(), 0);
  count_ = 0;
  least_ = 0;
  most_ = 0;
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
  std::optional<std::size_t> found;
  each([&](std::size_t bucket, std::uint64_t count) {
    seen += count;
    if (!found && seen >= rank) found = bucket;
  });
  return found ? std::min(most_, high_of(*found)) : most_;
}

std::int64_t Histogram::bucket_low(std::int64_t value) const { return low_of(bucket_of(value)); }

std::int64_t Histogram::bucket_high(std::int64_t value) const { return low_of(bucket_of(value) + 1) - 1; }

bool operator==(const Histogram& a, const Histogram& b) {
  if (a.steps_ != b.steps_ || a.top_ != b.top_ || a.count_ != b.count_) return false;
  if (a.count_ > 0 && (a.least_ != b.least_ || a.most_ != b.most_)) return false;
  const std::size_t size = std::size_t{1} << a.steps_;
  const auto same_as_none = [&](const std::uint64_t* counts) {
    return std::all_of(counts, counts + size, [](std::uint64_t count) { return count == 0; });
  };
  for (std::size_t d = 0; d < a.place_.size(); ++d) {
    const auto* mine = a.doubling(d);
    const auto* other = b.doubling(d);
    if (mine == nullptr && other == nullptr) continue;
    if (mine == nullptr || other == nullptr) {
      if (!same_as_none(mine == nullptr ? other : mine)) return false;
    } else if (!std::equal(mine, mine + size, other)) {
      return false;
    }
  }
  return true;
}

}  // namespace hopbench
