#include "view/screen.h"

#include <algorithm>

#include "base/plain_text.h"

namespace hopbench {

Screen::Screen(int width, int height)
    : width_(std::max(1, width)),
      height_(std::max(1, height)),
      cells_(static_cast<std::size_t>(width_) * static_cast<std::size_t>(height_)) {}

void Screen::put(int x, int y, char32_t glyph, Ink ink) {
  if (x < 0 || y < 0 || x >= width_ || y >= height_) return;
  if (acts_on_terminal(glyph)) glyph = U'?';
  cells_[place(x, y)] = {glyph, ink, false};
}

void Screen::put(int x, int y, std::string_view text, Ink ink) {
  for (const char32_t glyph : code_points(text)) put(x++, y, glyph, ink);
}

void Screen::put_right(int x, int y, std::string_view text, Ink ink) {
  put(x - static_cast<int>(code_points(text).size()), y, text, ink);
}

void Screen::reverse(int x, int y, int count) {
  for (int i = std::max(0, x); i < std::min(width_, x + count); ++i) {
    if (y >= 0 && y < height_) cells_[place(i, y)].reversed = true;
  }
}

std::string Screen::text(bool ascii) const {
  std::string all;
  for (int y = 0; y < height_; ++y) {
    std::string line;
    for (int x = 0; x < width_; ++x) line += ascii ? std::string(1, to_ascii(at(x, y).glyph)) : utf8(at(x, y).glyph);
    line.erase(line.find_last_not_of(' ') + 1);
    all += line + "\n";
  }
  return all;
}

std::string Screen::inks() const {
  static constexpr std::string_view letters = ".dSHwtDu";
  std::string all;
  for (int y = 0; y < height_; ++y) {
    for (int x = 0; x < width_; ++x) {
      const auto& cell = at(x, y);
      all += cell.reversed ? '#' : letters[static_cast<std::size_t>(cell.ink)];
    }
    all += '\n';
  }
  return all;
}

char to_ascii(char32_t glyph) {
  switch (glyph) {
    case U'─':
    case U'━':
      return '-';
    case U'═':
      return '=';
    case U'│':
    case U'┃':
    case U'╎':
      return '|';
    case U'·':
      return '.';
    case U'○':
      return 'o';
    case U'●':
      return '*';
    case U'◉':
      return '@';
    case U'▣':
      return 'H';
    case U'◇':
      return 'C';
    case U'░':
      return ':';
    case U'▒':
      return '%';
    case U'▶':
      return '>';
    case U'▕':
      return '[';
    case U'▏':
      return ']';
    case U'▲':
      return '^';
    // Levels, the lowest first.
    case U'▁':
      return '1';
    case U'▂':
      return '2';
    case U'▃':
      return '3';
    case U'▄':
      return '4';
    case U'▅':
      return '5';
    case U'▆':
      return '6';
    case U'▇':
      return '7';
    case U'█':
      return '8';
    case U'°':
      return ' ';
    default:
      return glyph < 0x7f ? static_cast<char>(glyph) : '?';
  }
}

std::string utf8(char32_t glyph) {
  std::string out;
  const auto put = [&](std::uint32_t byte) { out += static_cast<char>(static_cast<unsigned char>(byte)); };
  if (glyph < 0x80) {
    put(glyph);
  } else if (glyph < 0x800) {
    put(0xc0U | (glyph >> 6U));
    put(0x80U | (glyph & 0x3fU));
  } else if (glyph < 0x10000) {
    put(0xe0U | (glyph >> 12U));
    put(0x80U | ((glyph >> 6U) & 0x3fU));
    put(0x80U | (glyph & 0x3fU));
  } else {
    put(0xf0U | (glyph >> 18U));
    put(0x80U | ((glyph >> 12U) & 0x3fU));
    put(0x80U | ((glyph >> 6U) & 0x3fU));
    put(0x80U | (glyph & 0x3fU));
  }
  return out;
}

std::string utf8(std::u32string_view text) {
  std::string out;
  for (const char32_t glyph : text) out += utf8(glyph);
  return out;
}

std::u32string code_points(std::string_view text) {
  std::u32string out;
  while (!text.empty()) {
    const auto point = first_code_point(text);
    out += point.good ? point.value : U'?';
    text.remove_prefix(point.bytes);
  }
  return out;
}

}  // namespace hopbench
