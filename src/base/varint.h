// Whole numbers as bytes, seven bits a byte, the low ones first: small numbers are short.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace hopbench {

/// Small for numbers near 0, whatever their sign.
constexpr std::uint64_t folded(std::int64_t value) {
  return (static_cast<std::uint64_t>(value) << 1U) ^ (value < 0 ? ~std::uint64_t{0} : 0);
}
constexpr std::int64_t unfolded(std::uint64_t value) {
  return static_cast<std::int64_t>((value >> 1U) ^ (~(value & 1U) + 1U));
}

class VarintWriter {
 public:
  explicit VarintWriter(std::vector<std::uint8_t>& out) : out_(out) {}
  void put(std::uint64_t value) {
    for (; value >= 0x80; value >>= 7U) out_.push_back(static_cast<std::uint8_t>(value | 0x80U));
    out_.push_back(static_cast<std::uint8_t>(value));
  }
  /// As a difference, which wraps.
  void put(std::int64_t value, std::int64_t relative_to) {
    put(folded(static_cast<std::int64_t>(static_cast<std::uint64_t>(value) - static_cast<std::uint64_t>(relative_to))));
  }
  void bytes(std::span<const std::uint8_t> bytes) { out_.insert(out_.end(), bytes.begin(), bytes.end()); }

 private:
  std::vector<std::uint8_t>& out_;
};

/// Once something is amiss, good() is false and every number read is 0.
class VarintReader {
 public:
  explicit VarintReader(std::span<const std::uint8_t> bytes) : rest_(bytes) {}

  [[nodiscard]] bool good() const { return good_; }
  [[nodiscard]] std::size_t left() const { return rest_.size(); }
  void fail() {
    good_ = false;
    rest_ = {};
  }
  /// At most `limit`; written no longer than it need be.
  std::uint64_t get(std::uint64_t limit = ~std::uint64_t{0}) {
    std::uint64_t value = 0;
    for (unsigned shift = 0; shift < 64; shift += 7) {
      if (rest_.empty()) break;
      const std::uint8_t byte = rest_.front();
      rest_ = rest_.subspan(1);
      value |= std::uint64_t{byte & 0x7fU} << shift;
      if (byte >= 0x80) continue;
      const bool too_long = shift > 0 && byte == 0;
      const bool too_large = shift == 63 && byte > 1;
      if (too_long || too_large || value > limit) break;
      return value;
    }
    fail();
    return 0;
  }
  std::int64_t get_relative(std::int64_t relative_to) {
    return static_cast<std::int64_t>(static_cast<std::uint64_t>(unfolded(get())) +
                                     static_cast<std::uint64_t>(relative_to));
  }
  std::span<const std::uint8_t> bytes(std::size_t count) {
    if (count > rest_.size()) {
      fail();
      return {};
    }
    const auto result = rest_.first(count);
    rest_ = rest_.subspan(count);
    return result;
  }

 private:
  std::span<const std::uint8_t> rest_;
  bool good_ = true;
};

}  // namespace hopbench
