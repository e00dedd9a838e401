#include "text/wrong_addresses.h"

#include <fmt/format.h>

#include <algorithm>
#include <string>
#include <vector>

#include "bus/protocol.h"
#include "text/readers.h"
#include "text/suggest.h"

namespace hopbench {

void read_wrong_addresses(const text::Scenario& scenario, const Spot& root, const BusDescription& bus,
                          ChainDescription& chain) {
  if (too_many(root, "wrong_address", scenario.wrong_address_size(), static_cast<int>(chain.nodes.size()))) return;
  const Protocol protocol(bus);
  for (int i = 0; i < scenario.wrong_address_size(); ++i) {
    const text::WrongAddress& wrong = scenario.wrong_address(i);
    const Spot here = root.in("wrong_address", i);
    if (bus.roles.destination.empty()) {
      here.say(fmt::format("on the bus {} nodes are found by distance; none goes by an address", bus.name));
      continue;
    }
    const auto node = std::find_if(chain.nodes.begin(), chain.nodes.end(),
                                   [&](const NodeSpec& spec) { return spec.name == wrong.node(); });
    if (node == chain.nodes.end()) {
      std::vector<std::string> known;
      for (const NodeSpec& spec : chain.nodes) known.push_back(spec.name);
      (here.has("node") ? here.in("node") : here)
          .say(fmt::format("there is no node {}{}", in_quotes(wrong.node()), suggestion(wrong.node(), known)));
      continue;
    }
    const KindSpec& kind = chain.kinds[node->kind];
    if (node->goes_by) {
      here.in("node").say(fmt::format("{} has a wrong address already", node->name));
    } else if (kind.enrols) {
      here.in("node").say(
          fmt::format("{} takes the address that it is offered: kind {} enrols", node->name, in_quotes(kind.name)));
    } else if (kind.flaw.mistake == Flaw::address_bits) {
      here.in("node").say(fmt::format("{} keeps only some bits of its address already (flaw)", node->name));
    } else if (!wrong.has_address()) {
      here.say(fmt::format("a wrong address needs the address that {} goes by", node->name));
    } else if (!protocol.may_be_an_address(wrong.address())) {
      here.in("address").say(fmt::format("no node may have the address {} on the bus {}", wrong.address(), bus.name));
    } else if (wrong.address() == node->address) {
      here.in("address").say(fmt::format("{} is the address of {} already", wrong.address(), node->name));
    } else {
      node->goes_by = wrong.address();
    }
  }
}

}  // namespace hopbench
