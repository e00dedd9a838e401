// The check of a capture's blocks and fragments.
#pragma once

#include <cstdint>
#include <span>

namespace hopbench {

/// CRC-32C (Castagnoli), in pieces. Every byte of a capture goes through it, on its way in and out: it takes eight
/// bytes at a time.
class Crc32c {
 public:
  Crc32c& feed(std::span<const std::uint8_t> bytes);
  /// The same where the processor has no instruction for it.
  Crc32c& feed_by_table(std::span<const std::uint8_t> bytes);
  Crc32c& feed_u32(std::uint32_t value);  // as four bytes, the least first
  [[nodiscard]] std::uint32_t value() const { return ~state_; }

 private:
  std::uint32_t state_ = 0xffffffff;
};

}  // namespace hopbench
