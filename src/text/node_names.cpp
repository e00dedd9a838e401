#include "text/node_names.h"

#include <fmt/format.h>

namespace hopbench {

std::string node_names(const ChainDescription& chain, const std::vector<std::uint16_t>& nodes) {
  constexpr std::size_t most_runs = 4;
  std::string text;
  std::size_t runs = 0;
  for (std::size_t i = 0; i < nodes.size(); ++runs) {
    std::size_t last = i;
    while (last + 1 < nodes.size() && nodes[last + 1] == nodes[last] + 1) ++last;
    if (runs == most_runs) return fmt::format("{} and {} more", text, nodes.size() - i);
    const std::string& name = chain.nodes[nodes[i]].name;
    text += fmt::format("{}{}", runs == 0 ? "" : ", ", name);
    if (last > i) text += fmt::format("{}{}", last == i + 1 ? ", " : "..", chain.nodes[nodes[last]].name);
    i = last + 1;
  }
  return text;
}

}  // namespace hopbench
