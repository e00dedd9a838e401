#include "view/short_names.h"

#include <algorithm>
#include <map>

#include "base/plain_text.h"
#include "view/screen.h"

namespace hopbench {
namespace {

using Text = std::u32string;

/// One way to cut a name: what is kept before the gap and the rest from its end, or a stretch from its middle.
struct Cut {
  bool middle = false;
  std::size_t from = 0;  // characters kept before the gap; where the stretch begins
};

Text cut_by(const Text& name, Cut cut, std::size_t width) {
  if (name.size() <= width) return name;
  if (!cut.middle) return name.substr(0, cut.from) + U'~' + name.substr(name.size() - (width - 1 - cut.from));
  const auto from = std::min(cut.from, name.size() - (width - 1));
  return U'~' + name.substr(from, width - 1);
}

/// Names that look like another one.
std::size_t alike(const std::vector<Text>& all, Cut cut, std::size_t width) {
  std::map<Text, const Text*> seen;
  std::size_t count = 0;
  for (const auto& name : all) {
    const auto [place, fresh] = seen.emplace(cut_by(name, cut, width), &name);
    if (!fresh && *place->second != name) ++count;
  }
  return count;
}

}  // namespace

std::vector<std::string> short_names(const std::vector<std::string>& names, std::size_t width) {
  constexpr std::size_t farthest = 64;
  width = std::max<std::size_t>(width, 3);
  std::vector<Text> all;
  std::size_t longest = 0;
  for (const auto& name : names) {
    all.push_back(code_points(harmless(name)));
    longest = std::max(longest, all.back().size());
  }
  Cut best{false, (width - 1) / 2};
  std::size_t least = alike(all, best, width);
  const auto consider = [&](Cut cut) {
    if (least == 0) return;
    const auto count = alike(all, cut, width);
    if (count >= least) return;
    least = count;
    best = cut;
  };
  for (std::size_t head = 0; head < width; ++head) consider({false, head});
  for (std::size_t from = 1; from < std::min(longest, farthest); ++from) consider({true, from});
  std::vector<std::string> shortened;
  for (const auto& name : all) shortened.push_back(utf8(cut_by(name, best, width)));
  return shortened;
}

}  // namespace hopbench
