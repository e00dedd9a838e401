// One field on the wire: bits at any place, either byte order, plain or as digits.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "bus/description.h"

namespace hopbench {

/// Bits `first`..`first + bits - 1` of `bytes`, counted from the top bit of the first byte (1..64 bits).
/// The caller sees to it that they lie within.
[[nodiscard]] std::uint64_t load_bits(const std::uint8_t* bytes, std::size_t first, std::uint32_t bits);
/// The same place set to the low bits of `value`; neighbouring bits stay.
void store_bits(std::uint8_t* bytes, std::size_t first, std::uint32_t bits, std::uint64_t value);

/// How one field turns its raw value (a number) into bits and back.
struct FieldCode {
  std::uint32_t bits = 8;
  bool little_endian = false;
  Digits digits = Digits::binary;

  FieldCode() = default;
  explicit FieldCode(const FieldSpec& spec)
      : bits(spec.bits), little_endian(spec.little_endian), digits(spec.digits), limit_(limit_of(spec)) {}

  /// Largest raw value.
  [[nodiscard]] std::uint64_t limit() const { return limit_; }
  static std::uint64_t limit_of(const FieldSpec& spec);

  /// Raw value; none if a digit is none (or a hexadecimal one in lower case, which no encoder makes).
  [[nodiscard]] std::optional<std::uint64_t> load(const std::uint8_t* bytes, std::size_t first_bit) const {
    if (bits == 8 && digits == Digits::binary && first_bit % 8 == 0) return bytes[first_bit / 8];
    return load_any(bytes, first_bit);
  }
  /// Values above limit() are cut to the low bits or digits.
  void store(std::uint8_t* bytes, std::size_t first_bit, std::uint64_t raw) const {
    if (bits == 8 && digits == Digits::binary && first_bit % 8 == 0) {
      bytes[first_bit / 8] = static_cast<std::uint8_t>(raw);
    } else {
      store_any(bytes, first_bit, raw);
    }
  }

 private:
  [[nodiscard]] std::optional<std::uint64_t> load_any(const std::uint8_t* bytes, std::size_t first_bit) const;
  void store_any(std::uint8_t* bytes, std::size_t first_bit, std::uint64_t raw) const;

  std::uint64_t limit_ = 0xFF;
};

/// `value` with its `bits` low bits in opposite order of bytes (bits a multiple of 8).
[[nodiscard]] std::uint64_t swapped_bytes(std::uint64_t value, std::uint32_t bits);

}  // namespace hopbench
