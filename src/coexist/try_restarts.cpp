// Nodes that start anew, hang, or get their address late.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <vector>

#include "coexist/trials.h"
#include "scenario/link_table.h"

namespace hopbench {
namespace {

/// What each entry of the plan was last answered with before an instant; none if its last exchange was not answered.
struct LastHeard {
  bool answered = false;
  const LoggedExchange* exchange = nullptr;
};
std::map<std::uint32_t, LastHeard> last_before(const RunLog& log, const TriedChain& tried, Nanos until) {
  std::map<std::uint32_t, LastHeard> last;
  for (const LoggedExchange& exchange : log.exchanges) {
    if (exchange.closed > until || exchange.node == nobody) continue;
    if (exchange.entry < tried.first || exchange.entry >= tried.chain.controller.plan.size()) continue;
    last[exchange.entry] = {exchange.outcome == Outcome::answered, &exchange};
  }
  return last;
}

/// What a setting made of it stands in no comparison: a node that was reset has forgotten it.
ToldValues identity(const ToldValues& told) {
  ToldValues kept = lasting(told);
  for (const Quantity set : {Quantity::bleed_mask, Quantity::low_limit_mv, Quantity::high_limit_mv}) {
    std::erase_if(kept, [&](const auto& each) { return each.first.first == set; });
  }
  return kept;
}

/// So long the controller needs at the most until all have been asked anew, addresses given out again included.
Nanos recovery(const TrialGround& ground, const TriedChain& tried) {
  const ChainDescription& chain = tried.chain;
  Nanos try_takes = roomy_exchange(ground, chain);
  const Nanos back_off = std::min(chain.controller.back_off.longest, 60 * second);
  Nanos pause = std::min(back_off, chain.controller.back_off.first * 64) + chain.controller.back_off.jitter;
  const Nanos exchange = (try_takes + pause) * static_cast<Nanos>(chain.controller.retries + 1) + chain.controller.gap;
  Nanos start_up = 0;
  for (const KindSpec& kind : chain.kinds) start_up = std::max(start_up, kind.start_up);
  const auto rounds = static_cast<Nanos>(chain.controller.enrol.again_after) + 3;
  return start_up + rounds * exchange * static_cast<Nanos>(chain.controller.plan.size() + chain.nodes.size());
}

/// Blow after blow, each with time to recover; what it was, in a few words, for the sentence.
struct Blow {
  Nanos at = 0;
  std::string what;
};

std::optional<std::string> not_recovered(const RunLog& log, const TriedChain& tried, Nanos settled,
                                         const std::vector<Blow>& blows, Nanos each) {
  const auto before = last_before(log, tried, settled);
  for (const auto& [entry, heard] : before) {
    if (!heard.answered) return std::nullopt;  // that was so without any blow: another promise's matter
  }
  for (const Blow& blow : blows) {
    const auto after = last_before(log, tried, blow.at + each);
    for (const auto& [entry, heard] : before) {
      const auto found = after.find(entry);
      const std::string name = entry_name(tried.chain, entry);
      if (found == after.end() || !found->second.answered) {
        return fmt::format("{} is not answered again after {}: {}.", name, blow.what,
                           found == after.end() ? "never asked" : fate_of(*found->second.exchange, tried.chain));
      }
      if (identity(found->second.exchange->told) != identity(heard.exchange->told)) {
        return fmt::format("{} tells of something else after {}.", name, blow.what);
      }
    }
  }
  return std::nullopt;
}

/// Nodes whose restarts are tried: all of a short chain; of a long one the new ones and those beside them, no more than
/// four.
std::vector<std::uint16_t> struck_nodes(const KindOrder& order) {
  std::vector<std::uint16_t> nodes;
  for (std::size_t i = 0; i < order.size(); ++i) {
    const bool beside = order[i] == new_kind || (i > 0 && order[i - 1] == new_kind) ||
                        (i + 1 < order.size() && order[i + 1] == new_kind);
    if (order.size() <= 4 || (beside && nodes.size() < 4)) nodes.push_back(static_cast<std::uint16_t>(i));
  }
  if (nodes.empty()) nodes = {0, static_cast<std::uint16_t>(order.size() - 1)};
  return nodes;
}

FaultSpec reset_of(std::uint16_t node, Nanos at) {
  FaultSpec fault;
  fault.name = fmt::format("reset-{}-{}", node, at);
  fault.kind = FaultClass::reset;
  fault.nodes = {node};
  fault.at = {at};
  return fault;
}

}  // namespace

Trial try_restarts(const TrialGround& ground, const KindOrder& order, bool balancing) {
  Trial trial;
  TriedChain tried = tried_chain(ground, order, balancing);
  if (balancing && tried.bled == 0) return trial;
  ChainDescription& chain = tried.chain;
  const LinkTable links(chain.shape, chain.nodes.size());
  const Nanos each = recovery(ground, tried);
  const Nanos settled = each;
  // How long a round takes when all is well: blows fall at other points of it each time.
  const RunLog calm = logged_exchanges(ground.protocol, chain, ground.seed, tried.exchanges(1));
  if (calm.exchanges.empty()) return trial;
  const Nanos round = std::max<Nanos>(1, calm.exchanges.back().closed);
  std::vector<Blow> blows;
  Nanos at = settled;
  const auto name = [&](std::uint16_t node) { return chain.nodes[node].name; };
  const auto nodes = struck_nodes(order);
  std::uint64_t part = 1;
  for (const std::uint16_t node : nodes) {
    at += round * static_cast<Nanos>(part++ % 7) / 7;
    chain.faults.push_back(reset_of(node, at));
    blows.push_back({at, "a reset of " + name(node)});
    at += each;
    FaultSpec hang;
    hang.name = fmt::format("hang-{}", node);
    hang.kind = FaultClass::loss;
    for (std::uint16_t link = 0; link < links.size(); ++link) {
      if (links[link].to == node) hang.links.push_back(link);
    }
    hang.from = at;
    hang.to = at + std::min(round, second);
    chain.faults.push_back(hang);
    blows.push_back({hang.to, name(node) + " has been silent for a while"});
    at = hang.to + each;
  }
  // All at once, coming back from the controller on, and the other way round.
  for (const bool forward : {true, false}) {
    Nanos last = at;
    for (std::uint16_t node = 0; node < order.size(); ++node) {
      const std::uint16_t place = forward ? node : static_cast<std::uint16_t>(order.size() - 1 - node);
      last = at + 7 * millisecond * node;
      chain.faults.push_back(reset_of(place, last));
    }
    blows.push_back(
        {last, forward ? "all nodes started one after the other" : "all nodes started, the last one first"});
    at = last + each;
  }
  const RunLog log = logged_span(ground.protocol, chain, ground.seed, at);
  count_run(log, trial.counts);
  trial.counts.resets = 2 * nodes.size() + 2 * order.size();
  trial.breach =
      log.stuck ? "After a restart frames go round without end." : not_recovered(log, tried, settled, blows, each);
  return trial;
}

Trial try_addresses(const TrialGround& ground, const KindOrder& order, bool balancing) {
  Trial trial;
  if (balancing) return trial;
  TriedChain tried = tried_chain(ground, order, false);
  // What nodes with fixed addresses tell: of whom each answer is.
  ChainDescription fixed = tried.chain;
  for (KindSpec& kind : fixed.kinds) kind.enrols = false;
  const RunLog meant = logged_exchanges(ground.protocol, fixed, ground.seed, tried.exchanges(1) - tried.offers);
  trial.counts.chains = 1;
  std::map<std::string, ToldValues> by_name;
  for (const LoggedExchange& exchange : meant.exchanges) {
    if (exchange.clean() && exchange.node != nobody) {
      by_name[entry_name(fixed, exchange.entry)] = lasting(exchange.told);
    }
  }
  // New nodes with addresses as they come, about where a bit more is needed, and at the upper end.
  std::vector<std::uint64_t> firsts{0};
  if (has_new(order) && !ground.protocol.description().roles.destination.empty()) {
    const auto news = static_cast<std::uint64_t>(std::count(order.begin(), order.end(), new_kind));
    for (const std::uint64_t first :
         {std::uint64_t{128} - news / 2, std::uint64_t{128}, std::uint64_t{254} - news, std::uint64_t{256}}) {
      if (first > order.size()) firsts.push_back(first);
    }
  }
  for (const std::uint64_t first : firsts) {
    ChainDescription chain = tried.chain;
    if (first != 0 && !ground.maker.renumber_new(chain, first)) continue;
    const RunLog log = logged_exchanges(ground.protocol, chain, ground.seed, tried.exchanges(1));
    trial.counts.exchanges += log.exchanges.size();
    trial.counts.frames += log.frames;
    for (const LoggedExchange& exchange : log.exchanges) {
      if (exchange.node == nobody) continue;
      const std::string name = entry_name(chain, exchange.entry);
      const std::uint64_t address = chain.nodes[exchange.node].address;
      const bool offer = exchange.entry >= chain.controller.plan.size();
      const auto known = by_name.find(name);
      if (!offer && known == by_name.end()) continue;  // not answered with a fixed address either
      if (!exchange.clean()) {
        trial.breach = fmt::format("{}, to address {}: {}.", name, address, fate_of(exchange, chain));
      } else if (!offer) {
        ToldValues told = lasting(exchange.told);
        ToldValues expected = known->second;
        for (ToldValues* values : {&told, &expected}) {
          std::erase_if(*values, [](const auto& each) { return each.first.first == Quantity::address; });
        }
        if (told != expected) trial.breach = fmt::format("{}, to address {}, tells of another node.", name, address);
      }
      if (trial.breach) return trial;
    }
  }
  return trial;
}

}  // namespace hopbench
