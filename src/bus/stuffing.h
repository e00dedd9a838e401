// Byte stuffing and hexadecimal text, as pure functions over bytes. Boundaries are the caller's business.
//
// COBS: S. Cheshire, M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Trans. Networking 7(2), 1999.
// SLIP: RFC 1055. HDLC octets: RFC 1662 section 4.2.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

#include "bus/frame.h"

namespace hopbench {

enum class Stuffing : std::uint8_t { cobs, slip, hdlc };

/// The byte that stands between frames and nowhere else.
[[nodiscard]] constexpr std::uint8_t boundary_of(Stuffing stuffing) {
  return stuffing == Stuffing::cobs ? 0x00 : stuffing == Stuffing::slip ? 0xC0 : 0x7E;
}

/// Appends `content`, stuffed. A full last COBS block is not followed by an empty one.
void stuff(Stuffing stuffing, std::span<const std::uint8_t> content, WireBytes& wire);

/// Bytes that stuff() would append.
[[nodiscard]] std::size_t stuffed_size(Stuffing stuffing, std::span<const std::uint8_t> content);

/// Undoes stuff(). `content` gets what came out, cut at its limit, even if a rule was broken, which is what
/// false tells. `size`: bytes that came out, or would have without the limit. Takes a full last COBS block with or
/// without an empty one after it.
bool unstuff(Stuffing stuffing, std::span<const std::uint8_t> wire, Content& content, std::size_t& size);

/// Appends two upper-case hexadecimal digits for each byte.
void hex_text(std::span<const std::uint8_t> content, WireBytes& wire);
/// Undoes hex_text(). False if the length is odd or a character is no upper-case digit.
bool from_hex_text(std::span<const std::uint8_t> text, Content& content);
/// One digit, 0..15.
[[nodiscard]] constexpr std::uint8_t hex_character(std::uint32_t digit) {
  return static_cast<std::uint8_t>(digit < 10 ? '0' + digit : 'A' + digit - 10);
}

}  // namespace hopbench
