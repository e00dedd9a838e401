#include "view/page.h"

#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <charconv>
#include <cstdlib>
#include <string_view>

namespace hopbench {
namespace {

constexpr std::size_t usual = 80;
constexpr std::size_t narrowest = 40;
constexpr std::size_t widest = 100;

std::size_t& width() {
  static std::size_t columns = usual;
  return columns;
}

}  // namespace

std::size_t page_width() { return width(); }

void set_page_width(std::size_t columns) { width() = std::clamp(columns, narrowest, widest); }

std::size_t columns_of(int file) {
  winsize size{};
  if (::isatty(file) == 1 && ::ioctl(file, TIOCGWINSZ, &size) == 0 && size.ws_col > 0) return size.ws_col;
  const char* variable = std::getenv("COLUMNS");
  const std::string_view text = variable == nullptr ? std::string_view() : variable;
  std::size_t columns = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), columns);
  return error == std::errc() && end == text.data() + text.size() && columns > 0 ? columns : usual;
}

}  // namespace hopbench
