#include "plant.h"

#include <algorithm>

namespace hopbench::rates {

double Ground::between(std::size_t link, double lasts) const {
  const double hits = habits.frames[link] * (habits.frame_time[link] + lasts) / period;
  return std::max(1e6, run() * hits / (share * exchanges));
}

std::size_t Ground::some_link() const {
  const std::size_t nodes = draft.nodes.size();
  std::size_t link = draft.line && chance(dice, 50) ? 2 * nodes - 1 - node : node;
  if (!draft.line && dice.one_in(nodes + 1)) link = nodes;
  return link;
}

const std::vector<Plant>& plants() {
  static const std::vector<Plant> all = [] {
    std::vector<Plant> list;
    for (const auto some : {wire_plants(), station_plants(), power_plants(), fault_plants()})
      list.insert(list.end(), some.begin(), some.end());
    return list;
  }();
  return all;
}

}  // namespace hopbench::rates
