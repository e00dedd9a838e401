// A screen as a value: what stands in each place and how. Painted by view/painter.h, compared as text in tests.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace hopbench {

/// What a place means; colours are a help only, letters and glyphs say the same.
enum class Ink : std::uint8_t { plain, dim, strong, heading, wire, timing, dead, unseen };

struct ScreenCell {
  char32_t glyph = U' ';
  Ink ink = Ink::plain;
  bool reversed = false;
  friend bool operator==(const ScreenCell&, const ScreenCell&) = default;
};

class Screen {
 public:
  Screen(int width, int height);

  [[nodiscard]] int width() const { return width_; }
  [[nodiscard]] int height() const { return height_; }
  [[nodiscard]] const ScreenCell& at(int x, int y) const { return cells_[place(x, y)]; }

  /// Outside the screen nothing is put. UTF-8; each code point takes one place.
  void put(int x, int y, std::string_view text, Ink ink = Ink::plain);
  void put(int x, int y, char32_t glyph, Ink ink = Ink::plain);
  /// So that it ends before `x`.
  void put_right(int x, int y, std::string_view text, Ink ink = Ink::plain);
  void reverse(int x, int y, int count);

  /// Lines without spaces at their ends. `ascii`: from the table of to_ascii().
  [[nodiscard]] std::string text(bool ascii) const;
  /// The inks, a letter each (. plain, d dim, S strong, H heading, w wire, t timing, D dead, u unseen); reversed ones
  /// as "#".
  [[nodiscard]] std::string inks() const;

 private:
  [[nodiscard]] std::size_t place(int x, int y) const {
    return static_cast<std::size_t>(y) * static_cast<std::size_t>(width_) + static_cast<std::size_t>(x);
  }
  int width_;
  int height_;
  std::vector<ScreenCell> cells_;
};

/// What stands for a glyph where there is ASCII only.
char to_ascii(char32_t glyph);
std::string utf8(char32_t glyph);
std::string utf8(std::u32string_view text);
std::u32string code_points(std::string_view text);

}  // namespace hopbench
