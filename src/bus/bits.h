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
  std::uint32_t bits = 8;  // of a field of no fixed width: of its raw number
  bool little_endian = false;
  Digits digits = Digits::binary;
  bool varies = false;  // decimal text of no fixed width

  FieldCode() = default;
  explicit FieldCode(const FieldSpec& spec)
      : bits(spec.bits),
        little_endian(spec.little_endian),
        digits(spec.digits),
        varies(spec.varies_in_width()),
        limit_(limit_of(spec)),
        up_to_digits_(spec.up_to_digits),
        decimals_(spec.decimals),
        has_sign_(varies && spec.is_signed) {}

  /// Largest raw value; of a signed field of no fixed width the largest magnitude.
  [[nodiscard]] std::uint64_t limit() const { return limit_; }
  static std::uint64_t limit_of(const FieldSpec& spec);
  /// Whether the raw value has room.
  [[nodiscard]] bool has_room_for(std::uint64_t raw) const;

  /// Bits that it takes on the wire: at least, and with this raw value.
  [[nodiscard]] std::size_t least_bits() const;
  [[nodiscard]] std::size_t bits_of(std::uint64_t raw) const { return varies ? 8 * text_size(raw) : bits; }
  /// Bits that it takes where it stands, of at most `room`; 0 if nothing like it stands there, or it is cut off.
  [[nodiscard]] std::size_t bits_at(const std::uint8_t* bytes, std::size_t first_bit, std::size_t room) const {
    if (!varies) return bits <= room ? bits : 0;
    return 8 * measured(bytes + first_bit / 8, room / 8);
  }

  // --- a field of fixed width
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

  // --- a field of no fixed width; it begins on a byte
  /// Raw value of what bits_at() measured.
  [[nodiscard]] std::uint64_t load_text(const std::uint8_t* bytes, std::size_t size) const;
  /// Puts bits_of(raw) / 8 characters there; `raw` has room.
  void store_text(std::uint8_t* bytes, std::uint64_t raw) const;

 private:
  [[nodiscard]] std::size_t measured(const std::uint8_t* bytes, std::size_t room) const;
  [[nodiscard]] std::size_t text_size(std::uint64_t raw) const;
  [[nodiscard]] std::optional<std::uint64_t> load_any(const std::uint8_t* bytes, std::size_t first_bit) const;
  void store_any(std::uint8_t* bytes, std::size_t first_bit, std::uint64_t raw) const;

  std::uint64_t limit_ = 0xFF;
  std::uint32_t up_to_digits_ = 0;
  std::uint32_t decimals_ = 0;
  bool has_sign_ = false;
};

/// `value` with its `bits` low bits in opposite order of bytes (bits a multiple of 8).
[[nodiscard]] std::uint64_t swapped_bytes(std::uint64_t value, std::uint32_t bits);

}  // namespace hopbench
