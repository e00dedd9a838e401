#include "base/plain_text.h"

namespace hopbench {
namespace {

constexpr char32_t replacement = 0xfffd;

/// Bytes that the first one says there are; 0: it is no first one.
std::size_t length_of(unsigned char first) {
  if (first < 0x80) return 1;
  if (first >= 0xc2 && first < 0xe0) return 2;
  if (first >= 0xe0 && first < 0xf0) return 3;
  if (first >= 0xf0 && first < 0xf5) return 4;
  return 0;
}

bool is_shortest(char32_t value, std::size_t bytes) {
  return bytes == 1 || value >= (bytes == 2 ? 0x80U : bytes == 3 ? 0x800U : 0x10000U);
}

}  // namespace

CodePoint first_code_point(std::string_view text) {
  if (text.empty()) return {};
  const CodePoint bad{replacement, 1, false};
  const auto first = static_cast<unsigned char>(text[0]);
  const std::size_t bytes = length_of(first);
  if (bytes == 0 || bytes > text.size()) return bad;
  char32_t value = bytes == 1 ? first : first & (0xffU >> (bytes + 1));
  for (std::size_t i = 1; i < bytes; ++i) {
    const auto next = static_cast<unsigned char>(text[i]);
    if ((next & 0xc0U) != 0x80U) return bad;
    value = value << 6U | (next & 0x3fU);
  }
  const bool surrogate = value >= 0xd800 && value < 0xe000;
  if (!is_shortest(value, bytes) || surrogate || value > 0x10ffff) return bad;
  return {value, bytes, true};
}

bool acts_on_terminal(char32_t value) {
  const bool control = value < 0x20 || (value >= 0x7f && value < 0xa0);
  const bool separator = value == 0x2028 || value == 0x2029;
  const bool direction = value == 0x61c || value == 0x200e || value == 0x200f || (value >= 0x202a && value <= 0x202e) ||
                         (value >= 0x2066 && value <= 0x2069);
  return control || separator || direction;
}

std::string harmless(std::string_view text) {
  std::string out;
  out.reserve(text.size());
  while (!text.empty()) {
    const auto point = first_code_point(text);
    if (point.good && !acts_on_terminal(point.value)) {
      out.append(text.substr(0, point.bytes));
    } else {
      out += '?';
    }
    text.remove_prefix(point.bytes);
  }
  return out;
}

}  // namespace hopbench
