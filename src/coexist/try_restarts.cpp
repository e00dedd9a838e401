// Nodes that start anew, hang, or get their address late.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "chain/chain.h"
#include "coexist/trials.h"
#include "scenario/link_table.h"
#include "study/words.h"

namespace hopbench {
namespace {

/// What a setting made of it stands in no comparison: a node that was reset has forgotten it.
/// Nor do voltages that were told while cells were bled.
ToldValues identity(const ToldValues& told, bool balancing) {
  ToldValues kept = lasting(told);
  if (balancing) {
    std::erase_if(kept, [](const auto& each) {
      return each.first.first == Quantity::cell_mv || each.first.first == Quantity::cell_uv;
    });
  }
  for (const Quantity set : {Quantity::bleed_mask, Quantity::low_limit_mv, Quantity::high_limit_mv}) {
    std::erase_if(kept, [&](const auto& each) { return each.first.first == set; });
  }
  return kept;
}

/// How long it may take until all that was struck is asked well again.
struct Recovery {
  Nanos of_one = 0;  // node
  Nanos of_all = 0;
};

/// `round`: of the plan, when all is well. Each round longer by the exchanges that fail, until addresses have been
/// given out again and two rounds have passed.
Recovery recovery(const TrialGround& ground, const TriedChain& tried, Nanos round) {
  const ChainDescription& chain = tried.chain;
  const BackOffSpec& back_off = chain.controller.back_off;
  const Nanos pause = std::min(std::min(back_off.longest, 60 * second), back_off.first * 64) + back_off.jitter;
  const Nanos lost = (roomy_exchange(ground, chain) + pause) * static_cast<Nanos>(chain.controller.retries + 1);
  Nanos start_up = 0;
  for (const KindSpec& kind : chain.kinds) start_up = std::max(start_up, kind.start_up);
  std::map<std::uint16_t, Nanos> entries;
  Nanos most = 0;
  for (const PlanEntry& entry : chain.controller.plan) {
    if (entry.node != nobody) most = std::max(most, ++entries[entry.node]);
  }
  const auto nodes = static_cast<Nanos>(chain.nodes.size());
  const auto rounds = static_cast<Nanos>(chain.controller.enrol.again_after) + 3;
  Recovery made;
  made.of_one = start_up + lost + rounds * (round + (most + 1) * lost);
  made.of_all = start_up + rounds * (round + (most + 1) * nodes * lost);
  return made;
}

/// Something that strikes a chain, and after which it has to recover.
struct Blow {
  std::vector<FaultSpec> faults;
  Nanos struck = 0;  // when it begins
  Nanos over = 0;    // from then on it may recover
  Nanos takes = 0;   // and this long it may take
  std::string what;  // in a few words, for the sentence
};

/// What each entry of the plan tells of, before anything strikes.
using Identities = std::map<std::uint32_t, ToldValues>;

/// What came of one blow.
struct Recovered {
  std::optional<std::string> breach;
  Nanos after = 0;  // from the blow until all was well again, to a round
};

/// Runs until every entry has been answered twice in a row after the blow. Says what is not as it was if that takes too
/// long, or if another node answers.
Recovered recovered_from(const TrialGround& ground, const TriedChain& tried, const Identities& before, const Blow& blow,
                         Nanos round, bool balancing, TrialCounts& counts) {
  ChainDescription chain = tried.chain;
  chain.faults = blow.faults;
  RunLog log(ground.protocol);
  Chain running(ground.protocol, chain, ground.seed, Way::repeats, Seat::simulated, log);
  struct Since {
    int well = 0;
    std::size_t last = 0;
    bool asked = false;
  };
  std::optional<std::string> wrong;
  std::map<std::uint32_t, Since> since;
  std::size_t looked_at = 0;
  bool recovered = false;
  bool of_another = false;
  for (Nanos until = blow.over + round; !recovered && !of_another; until += round) {
    const bool goes_on = running.run_until(until);
    for (; looked_at < log.exchanges.size() && !of_another; ++looked_at) {
      const LoggedExchange& exchange = log.exchanges[looked_at];
      const auto was = before.find(exchange.entry);
      if (exchange.start < blow.over || was == before.end()) continue;
      Since& now = since[exchange.entry];
      const bool well = exchange.outcome == Outcome::answered;
      now = {well ? now.well + 1 : 0, looked_at, true};
      // Once is enough: the controller has taken it for what it asked for.
      of_another = exchange.outcome == Outcome::wrong || (well && identity(exchange.told, balancing) != was->second);
      if (of_another)
        wrong = fmt::format("{} is answered with other values than before", entry_name(chain, exchange.entry));
    }
    if (of_another) break;
    recovered = true;
    for (const auto& [entry, told] : before) {
      const Since& now = since[entry];
      if (now.well >= 2) continue;
      recovered = false;
      wrong = fmt::format("{} is not answered again ({})", entry_name(chain, entry),
                          now.asked ? fate_of(log.exchanges[now.last], chain) : "it is not asked");
      break;
    }
    if (!goes_on || until > blow.over + blow.takes) break;
  }
  counts.exchanges += log.exchanges.size();
  counts.frames += log.frames;
  running.finish({});
  if (recovered) return {std::nullopt, log.exchanges.back().closed - blow.struck};
  return {fmt::format("{} after {}.", wrong.value_or("The chain stands still"), blow.what), 0};
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

/// Each falls at another point of the second round.
std::vector<Blow> blows_for(const TrialGround& ground, const TriedChain& tried, const KindOrder& order, Nanos round) {
  const ChainDescription& chain = tried.chain;
  const LinkTable links(chain.shape, chain.nodes.size());
  const Recovery takes = recovery(ground, tried, round);
  const auto start_up = [&](std::uint16_t node) { return chain.kinds[chain.nodes[node].kind].start_up; };
  std::vector<Blow> blows;
  Nanos part = 1;
  for (const std::uint16_t node : struck_nodes(order)) {
    const std::string& name = chain.nodes[node].name;
    const Nanos at = round + round * (part++ % 7) / 7;
    blows.push_back({{reset_of(node, at)}, at, at + start_up(node), takes.of_one, "a reset of " + name});
    FaultSpec hang;
    hang.name = fmt::format("hang-{}", node);
    hang.kind = FaultClass::loss;
    for (std::uint16_t link = 0; link < links.size(); ++link) {
      if (links[link].to == node) hang.links.push_back(link);
    }
    hang.from = at;
    hang.to = at + std::min(round, second);
    // Nodes behind it have been out of reach as well.
    blows.push_back({{hang}, hang.from, hang.to, takes.of_all, name + " has been silent for a while"});
  }
  // One is reset while the controller is about to give another its address anew: it might take that.
  const auto loses = [&](std::uint16_t node) {
    const KindSpec& kind = chain.kinds[chain.nodes[node].kind];
    return kind.enrols && !kind.keeps_address;
  };
  std::size_t pairs = 0;
  for (const std::uint16_t early : struck_nodes(order)) {
    for (const std::uint16_t late : struck_nodes(order)) {
      if (early == late || !loses(early) || !loses(late) || ++pairs > 6) continue;
      const auto steps = static_cast<Nanos>(2 * chain.controller.enrol.again_after + 2);
      for (Nanos step = 1; step <= steps; ++step) {
        const Nanos at = round + start_up(early) + round * step / 2;
        blows.push_back({{reset_of(early, round), reset_of(late, at)},
                         round,
                         at + start_up(late),
                         takes.of_all,
                         fmt::format("resets of {} and then of {}", chain.nodes[early].name, chain.nodes[late].name)});
      }
    }
  }
  // All at once, coming back from the controller on, and the other way round.
  for (const bool forward : {true, false}) {
    Blow all;
    all.struck = round;
    for (std::uint16_t node = 0; node < order.size(); ++node) {
      const std::uint16_t place = forward ? node : static_cast<std::uint16_t>(order.size() - 1 - node);
      const Nanos at = round + 7 * millisecond * node;
      all.faults.push_back(reset_of(place, at));
      all.over = std::max(all.over, at + start_up(place));
    }
    all.takes = takes.of_all;
    all.what = forward ? "all nodes have started one after the other" : "all nodes have started, the last one first";
    blows.push_back(std::move(all));
  }
  return blows;
}

}  // namespace

Trial try_restarts(const TrialGround& ground, const KindOrder& order, bool balancing) {
  Trial trial;
  TriedChain tried = tried_chain(ground, order, balancing);
  if (balancing && tried.bled == 0) return trial;
  ChainDescription& chain = tried.chain;
  const RunLog calm = logged_exchanges(ground.protocol, chain, ground.seed, tried.exchanges(1));
  if (calm.exchanges.empty()) return trial;
  const Nanos round = std::max<Nanos>(1, calm.exchanges.back().closed);
  Identities before;
  for (const LoggedExchange& exchange : calm.exchanges) {
    if (exchange.node == nobody || exchange.entry < tried.first || exchange.entry >= chain.controller.plan.size())
      continue;
    if (exchange.outcome != Outcome::answered) continue;  // so without any blow: another promise's matter
    before[exchange.entry] = identity(exchange.told, balancing);
  }
  if (before.empty()) return trial;
  count_run(calm, trial.counts);
  for (const Blow& blow : blows_for(ground, tried, order, round)) {
    trial.counts.resets += blow.faults.size();
    const Recovered came = recovered_from(ground, tried, before, blow, round, balancing, trial.counts);
    trial.breach = came.breach;
    if (trial.breach) break;
    if (came.after <= trial.note_weight) continue;
    trial.note_weight = came.after;
    trial.note = fmt::format("the longest recovery took {}, in {} after {}", words::span(came.after), in_words(chain),
                             blow.what);
  }
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
  if (by_name.empty()) return {};
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
      if (!offer && known == by_name.end()) continue;             // not answered with a fixed address either
      if (offer && exchange.outcome == Outcome::wrong) continue;  // it has its address, and tells something untrue
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
