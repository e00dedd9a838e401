#include "text/utf8.h"

#include <cstdint>

namespace hopbench {
namespace {

/// Length of the sequence that begins at `text`, 0 if it is not well formed (RFC 3629, section 4).
std::size_t sequence(std::string_view text) {
  const auto byte = [&](std::size_t i) {
    return i < text.size() ? static_cast<std::uint8_t>(text[i]) : std::uint8_t{0};
  };
  const auto tail = [&](std::size_t i, std::uint8_t low = 0x80, std::uint8_t high = 0xbf) {
    return byte(i) >= low && byte(i) <= high;
  };
  const std::uint8_t first = byte(0);
  if (first < 0x80) return 1;
  if (first >= 0xc2 && first <= 0xdf) return tail(1) ? 2 : 0;
  if (first >= 0xe0 && first <= 0xef) {
    const std::uint8_t low = first == 0xe0 ? 0xa0 : 0x80;   // no overlong forms
    const std::uint8_t high = first == 0xed ? 0x9f : 0xbf;  // no surrogates
    return tail(1, low, high) && tail(2) ? 3 : 0;
  }
  if (first >= 0xf0 && first <= 0xf4) {
    const std::uint8_t low = first == 0xf0 ? 0x90 : 0x80;
    const std::uint8_t high = first == 0xf4 ? 0x8f : 0xbf;
    return tail(1, low, high) && tail(2) && tail(3) ? 4 : 0;
  }
  return 0;
}

}  // namespace

std::size_t first_bad_utf8(std::string_view text) {
  std::size_t at = 0;
  while (at < text.size()) {
    const std::size_t length = sequence(text.substr(at));
    if (length == 0) return at;
    at += length;
  }
  return std::string_view::npos;
}

}  // namespace hopbench
