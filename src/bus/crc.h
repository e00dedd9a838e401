// Cyclic redundancy checks of the Rocksoft model, of any width from 1 to 64 bits.
//
// Model: R. Williams, "A Painless Guide to CRC Error Detection Algorithms", version 3, 1993, section 15.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

namespace hopbench {

struct CrcModel {
  std::uint32_t width = 16;  // 1..64
  std::uint64_t poly = 0;    // without its top term
  std::uint64_t init = 0;
  bool refin = false;
  bool refout = false;
  std::uint64_t xorout = 0;
  friend bool operator==(const CrcModel&, const CrcModel&) = default;
};

/// A model with its table. Immutable and cheap to share by reference.
class Crc {
 public:
  explicit Crc(const CrcModel& model);

  /// CRC of `bytes`.
  [[nodiscard]] std::uint64_t of(std::span<const std::uint8_t> bytes) const;

  // In pieces: begin, feed any number of times, end. A check may cover parts that do not lie together.
  [[nodiscard]] std::uint64_t begin() const;
  [[nodiscard]] std::uint64_t feed(std::uint64_t state, std::span<const std::uint8_t> bytes) const;
  [[nodiscard]] std::uint64_t end(std::uint64_t state) const;

  [[nodiscard]] const CrcModel& model() const { return model_; }

 private:
  CrcModel model_;
  std::uint64_t mask_;
  std::array<std::uint64_t, 256> table_{};
};

}  // namespace hopbench
