// Text for people, without the line breaks that the page's width put into it.
#pragma once

#include <string>

namespace hopbench {

/// A line end, and the spaces before the next word, become one space.
inline std::string flat(const std::string& text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '\n') {
      out += text[i];
      continue;
    }
    while (i + 1 < text.size() && (text[i + 1] == ' ' || text[i + 1] == '\n')) ++i;
    out += ' ';
  }
  return out;
}

}  // namespace hopbench
