// Text from files and from users, before it is shown: no byte of it may speak to a terminal or pass for other text.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace hopbench {

struct CodePoint {
  char32_t value = 0;     // U+FFFD for what is no UTF-8
  std::size_t bytes = 0;  // that it takes; 0: the text is over
  bool good = true;
};
/// The first one of a text. Strict: no surrogates, nothing longer than need be; a byte that fits nowhere is one by
/// itself.
CodePoint first_code_point(std::string_view text);

/// True for what a terminal acts on instead of showing it: control characters (C0, DEL, C1), line and paragraph
/// separators, and marks that turn the direction of writing.
bool acts_on_terminal(char32_t value);

/// Fit to be shown in a line: "?" stands for each code point that acts, and for each byte that is no UTF-8.
std::string harmless(std::string_view text);

}  // namespace hopbench
