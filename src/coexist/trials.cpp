#include "coexist/trials.h"

#include <algorithm>

#include "scenario/asked.h"
#include "scenario/link_table.h"

namespace hopbench {

std::uint64_t TriedChain::exchanges(std::uint64_t rounds) const {
  return offers + first + rounds * (chain.controller.plan.size() - first);
}

TriedChain tried_chain(const TrialGround& ground, const KindOrder& order, bool balancing) {
  TriedChain tried;
  tried.chain = ground.maker.make_still(order);
  const std::size_t polls = tried.chain.controller.plan.size();
  if (balancing) tried.bled = ground.maker.bleed_all(tried.chain);
  tried.first = tried.chain.controller.plan.size() - polls;
  if (!tried.chain.controller.enrol.at_start) return tried;
  for (const NodeSpec& node : tried.chain.nodes) tried.offers += tried.chain.kinds[node.kind].enrols ? 1 : 0;
  return tried;
}

std::string entry_name(const ChainDescription& chain, std::uint32_t entry) {
  const auto& plan = chain.controller.plan;
  if (entry < plan.size()) return plan[entry].name;
  const auto all = asked_entries(chain);
  return entry < all.size() ? all[entry].name : "?";
}

Nanos roomy_exchange(const TrialGround& ground, const ChainDescription& chain) {
  const Protocol& protocol = ground.protocol;
  const std::uint64_t bits = protocol.most_content() * 2 * protocol.line().char_half_bits() / 2;
  return chain.controller.time_out + span_of_bits(bits, period_of_baud(protocol.line().baud)) + 20 * millisecond;
}

std::vector<bool> answered_undisturbed(const TrialGround& ground, const TriedChain& tried) {
  std::vector<bool> answered(tried.chain.controller.plan.size(), false);
  const RunLog log = logged_exchanges(ground.protocol, tried.chain, ground.seed, tried.exchanges(1));
  for (const LoggedExchange& exchange : log.exchanges) {
    if (exchange.entry < answered.size()) answered[exchange.entry] = exchange.clean();
  }
  return answered;
}

void count_run(const RunLog& log, TrialCounts& counts) {
  counts.chains = 1;
  counts.exchanges += log.exchanges.size();
  counts.frames += log.frames;
}

std::string not_triable(PromiseNumber promise, const TrialGround& ground) {
  const RolesSpec& roles = ground.protocol.description().roles;
  switch (promise) {
    case PromiseNumber::passes_on:
      if (roles.destination.empty() && roles.distance.empty()) return "this bus says of no frame whom it is for";
      return {};
    case PromiseNumber::to_everyone:
      if (roles.broadcast.empty()) return "this bus has no way to ask everyone";
      if (!ground.maker.says_to_everyone())
        return "the plan asks nothing of everyone, and orders to bleed cannot be given";
      return {};
    case PromiseNumber::balancing: {
      for (std::uint16_t kind = 0; kind < ground.maker.kinds(); ++kind) {
        ChainDescription chain = ground.maker.make_still({kind});
        if (ground.maker.bleed_all(chain) > 0) return {};
      }
      return "no kind of node can be told to bleed its cells";
    }
    case PromiseNumber::electrical:
      return "nothing electrical is simulated; the designer confirms it";
    default:
      return {};
  }
}

}  // namespace hopbench
