#include "bus/bits.h"

#include <algorithm>

namespace hopbench {
namespace {

std::uint64_t low_bits(std::uint64_t value, std::uint32_t bits) {
  return bits >= 64 ? value : value & ((std::uint64_t{1} << bits) - 1);
}

/// Value of a digit of `base`; `base` itself if it is none.
std::uint64_t digit_of(std::uint64_t character, std::uint64_t base) {
  if (character >= '0' && character <= '9') return character - '0';
  if (base == 16 && character >= 'A' && character <= 'F') return character - 'A' + 10;
  return base;
}

bool is_digit(std::uint8_t byte) { return byte >= '0' && byte <= '9'; }

std::uint64_t character_of(std::uint64_t digit) { return digit < 10 ? '0' + digit : 'A' + digit - 10; }

struct DigitShape {
  std::uint32_t width;  // bits of one digit on the wire
  std::uint64_t base;
};

DigitShape shape_of(Digits digits) {
  switch (digits) {
    case Digits::bcd:
      return {4, 10};
    case Digits::decimal_text:
      return {8, 10};
    case Digits::hex_text:
      return {8, 16};
    case Digits::binary:
      break;
  }
  return {1, 2};
}

}  // namespace

std::uint64_t load_bits(const std::uint8_t* bytes, std::size_t first, std::uint32_t bits) {
  const std::uint8_t* at = bytes + first / 8;
  auto within = static_cast<std::uint32_t>(first % 8);
  std::uint64_t value = 0;
  while (bits > 0) {
    const std::uint32_t take = std::min(8 - within, bits);
    value = (value << take) | low_bits(static_cast<std::uint64_t>(*at) >> (8 - within - take), take);
    bits -= take;
    within = 0;
    ++at;
  }
  return value;
}

void store_bits(std::uint8_t* bytes, std::size_t first, std::uint32_t bits, std::uint64_t value) {
  std::uint8_t* at = bytes + first / 8;
  auto within = static_cast<std::uint32_t>(first % 8);
  while (bits > 0) {
    const std::uint32_t take = std::min(8 - within, bits);
    const std::uint32_t shift = 8 - within - take;
    const auto mask = static_cast<std::uint32_t>(low_bits(~std::uint64_t{0}, take) << shift);
    const auto piece = static_cast<std::uint32_t>(low_bits(value >> (bits - take), take) << shift);
    *at = static_cast<std::uint8_t>((*at & ~mask) | piece);
    bits -= take;
    within = 0;
    ++at;
  }
}

std::uint64_t swapped_bytes(std::uint64_t value, std::uint32_t bits) {
  std::uint64_t out = 0;
  for (std::uint32_t i = 0; i < bits / 8; ++i) out = (out << 8U) | ((value >> (8 * i)) & 0xFFU);
  return out;
}

std::uint64_t FieldCode::limit_of(const FieldSpec& spec) {
  if (spec.varies_in_width()) {
    std::uint64_t values = 1;
    for (std::uint32_t i = 0; i < spec.up_to_digits; ++i) values *= 10;
    return values - 1;
  }
  if (spec.digits == Digits::binary) return low_bits(~std::uint64_t{0}, spec.bits);
  const DigitShape shape = shape_of(spec.digits);
  std::uint64_t values = 1;  // at most 10^16 or 16^8
  for (std::uint32_t i = 0; i < spec.bits / shape.width; ++i) values *= shape.base;
  return values - 1;
}

std::optional<std::uint64_t> FieldCode::load_any(const std::uint8_t* bytes, std::size_t first_bit) const {
  std::uint64_t wire = load_bits(bytes, first_bit, bits);
  if (little_endian) wire = swapped_bytes(wire, bits);
  if (digits == Digits::binary) return wire;
  const DigitShape shape = shape_of(digits);
  std::uint64_t raw = 0;
  for (std::uint32_t left = bits; left > 0; left -= shape.width) {
    const std::uint64_t piece = low_bits(wire >> (left - shape.width), shape.width);
    const std::uint64_t digit = shape.width == 8 ? digit_of(piece, shape.base) : piece;
    if (digit >= shape.base) return std::nullopt;
    raw = raw * shape.base + digit;
  }
  return raw;
}

void FieldCode::store_any(std::uint8_t* bytes, std::size_t first_bit, std::uint64_t raw) const {
  std::uint64_t wire = 0;
  if (digits == Digits::binary) {
    wire = low_bits(raw, bits);
  } else {
    const DigitShape shape = shape_of(digits);
    for (std::uint32_t done = 0; done < bits; done += shape.width) {
      const std::uint64_t digit = raw % shape.base;
      raw /= shape.base;
      wire |= (shape.width == 8 ? character_of(digit) : digit) << done;
    }
  }
  store_bits(bytes, first_bit, bits, little_endian ? swapped_bytes(wire, bits) : wire);
}

bool FieldCode::has_room_for(std::uint64_t raw) const {
  const bool below = has_sign_ && raw >> 63U != 0;
  return (below ? ~raw + 1 : raw) <= limit_;
}

std::size_t FieldCode::least_bits() const { return varies ? 8 * (decimals_ == 0 ? 1 : decimals_ + 2) : bits; }

std::size_t FieldCode::text_size(std::uint64_t raw) const {
  const bool below = has_sign_ && raw >> 63U != 0;
  std::size_t count = 1;
  for (std::uint64_t left = below ? ~raw + 1 : raw; left >= 10; left /= 10) ++count;
  if (decimals_ != 0) count = std::max<std::size_t>(count, decimals_ + 1) + 1;
  return count + (below ? 1 : 0);
}

std::size_t FieldCode::measured(const std::uint8_t* bytes, std::size_t room) const {
  std::size_t at = has_sign_ && room > 0 && bytes[0] == '-' ? 1 : 0;
  std::size_t digits_found = 0;
  const auto run = [&] {
    const std::size_t from = at;
    while (at < room && is_digit(bytes[at])) ++at;
    digits_found += at - from;
    return at - from;
  };
  if (run() == 0) return 0;
  if (decimals_ != 0) {
    if (at == room || bytes[at] != '.') return 0;
    ++at;
    if (run() != decimals_) return 0;
  }
  return digits_found <= up_to_digits_ ? at : 0;
}

std::uint64_t FieldCode::load_text(const std::uint8_t* bytes, std::size_t size) const {
  std::uint64_t raw = 0;
  for (std::size_t i = 0; i < size; ++i) {
    if (is_digit(bytes[i])) raw = raw * 10 + (bytes[i] - '0');
  }
  return size > 0 && bytes[0] == '-' ? ~raw + 1 : raw;
}

void FieldCode::store_text(std::uint8_t* bytes, std::uint64_t raw) const {
  const bool below = has_sign_ && raw >> 63U != 0;
  std::uint64_t left = below ? ~raw + 1 : raw;
  std::size_t at = text_size(raw);
  for (std::uint32_t done = 0; at > (below ? 1U : 0U); ++done) {
    if (decimals_ != 0 && done == decimals_) bytes[--at] = '.';
    bytes[--at] = static_cast<std::uint8_t>('0' + left % 10);
    left /= 10;
  }
  if (below) bytes[0] = '-';
}

}  // namespace hopbench
