#include "view/short_names.h"

#include <algorithm>
#include <map>

#include "base/plain_text.h"
#include "view/screen.h"

namespace hopbench {
namespace {

using Text = std::u32string;

/// With `head` characters kept before the gap.
Text without_middle(const Text& name, std::size_t head, std::size_t width) {
  if (name.size() <= width) return name;
  return name.substr(0, head) + U'~' + name.substr(name.size() - (width - 1 - head));
}

std::size_t alike(const std::vector<Text>& all, std::size_t head, std::size_t width) {
  std::map<Text, const Text*> seen;
  std::size_t count = 0;
  for (const auto& name : all) {
    const auto [place, fresh] = seen.emplace(without_middle(name, head, width), &name);
    if (!fresh && *place->second != name) ++count;
  }
  return count;
}

/// From where the names of this group begin to differ.
std::size_t common_start(const std::vector<const Text*>& group) {
  std::size_t common = group.front()->size();
  for (const auto* name : group) {
    const auto ends = std::mismatch(name->begin(), name->end(), group.front()->begin(), group.front()->end());
    if (*name != *group.front()) common = std::min(common, static_cast<std::size_t>(ends.first - name->begin()));
  }
  return common;
}

}  // namespace

std::vector<std::string> short_names(std::span<const std::string> names, std::size_t width) {
  std::vector<Text> all;
  for (const auto& name : names) all.push_back(code_points(harmless(name)));
  if (width < 3) width = 3;
  std::size_t head = (width - 1) / 2;
  std::size_t least = alike(all, head, width);
  for (std::size_t other = 0; other < width && least > 0; ++other) {
    const auto count = alike(all, other, width);
    if (count >= least) continue;
    least = count;
    head = other;
  }
  std::map<Text, std::vector<const Text*>> groups;
  for (const auto& name : all) groups[without_middle(name, head, width)].push_back(&name);
  std::vector<std::string> shortened;
  for (const auto& name : all) {
    auto text = without_middle(name, head, width);
    const auto start = common_start(groups[text]);
    const bool same = start >= name.size() || name.size() <= width;
    if (!same) text = start == 0 ? name.substr(0, width) : U'~' + name.substr(start, width - 1);
    shortened.push_back(utf8(text));
  }
  return shortened;
}

}  // namespace hopbench
