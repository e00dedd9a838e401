#include "view/paragraph.h"

#include <algorithm>

#include "view/number_text.h"

namespace hopbench {

std::string paragraph(std::size_t indent, const std::string& lead, const std::string& text, std::size_t width) {
  const std::size_t hang = indent + characters_in(lead);
  std::string out(indent, ' ');
  out += lead;
  std::size_t column = hang;
  bool fresh = true;
  const std::string clean = harmless(text);
  for (std::size_t at = 0; at < clean.size();) {
    std::size_t space = std::min(clean.find(' ', at), clean.size());
    // A number and its "%" stay together.
    if (clean.compare(space, 2, " %") == 0) space = std::min(clean.find(' ', space + 1), clean.size());
    const std::string word = clean.substr(at, space - at);
    if (!fresh && column + 1 + characters_in(word) > width) {
      out += '\n';
      out.append(hang, ' ');
      column = hang;
      fresh = true;
    }
    if (!fresh) {
      out += ' ';
      ++column;
    }
    out += word;
    column += characters_in(word);
    fresh = false;
    at = space + 1;
  }
  return out + "\n";
}

}  // namespace hopbench
