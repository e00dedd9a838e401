#include "view/short_names.h"

#include <algorithm>
#include <set>

#include "base/plain_text.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

bool continues(char c) { return (static_cast<unsigned char>(c) & 0xc0U) == 0x80U; }

/// Where each character of the text begins, and where the last one ends.
std::vector<std::size_t> borders_of(const std::string& text) {
  std::vector<std::size_t> borders;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (!continues(text[i])) borders.push_back(i);
  }
  borders.push_back(text.size());
  return borders;
}

/// With `tail` of its last characters.
std::string cut(const std::string& name, std::size_t width, std::size_t tail) {
  const auto borders = borders_of(name);
  const std::size_t characters = borders.size() - 1;
  if (characters <= width) return name;
  return name.substr(0, borders[width - 1 - tail]) + "~" + name.substr(borders[characters - tail]);
}

std::vector<std::string> all_cut(const std::vector<std::string>& names, std::size_t width, std::size_t tail) {
  std::vector<std::string> out;
  for (const std::string& name : names) out.push_back(cut(name, width, tail));
  return out;
}

}  // namespace

std::vector<std::string> short_names(const std::vector<std::string>& names, std::size_t width) {
  std::vector<std::string> plain;
  bool long_ones = false;
  for (const std::string& name : names) {
    plain.push_back(harmless(name));
    long_ones = long_ones || characters_in(plain.back()) > width;
  }
  width = std::max<std::size_t>(width, 3);
  if (!long_ones) return plain;
  // From the even cut on to ever longer ends, then to ever shorter ones.
  std::vector<std::size_t> tails;
  for (std::size_t tail = (width - 1) / 2; tail < width; ++tail) tails.push_back(tail);
  for (std::size_t tail = (width - 1) / 2; tail-- > 0;) tails.push_back(tail);
  const std::size_t wanted = std::set<std::string>(plain.begin(), plain.end()).size();
  std::vector<std::string> best;
  std::size_t most = 0;
  for (const std::size_t tail : tails) {
    auto tried = all_cut(plain, width, tail);
    const std::size_t different = std::set<std::string>(tried.begin(), tried.end()).size();
    if (different > most) {
      most = different;
      best = std::move(tried);
    }
    if (most == wanted) break;
  }
  return best;
}

}  // namespace hopbench
