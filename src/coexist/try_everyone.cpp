// What is said to everyone, and what each node makes of damage.
#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <utility>
#include <vector>

#include "coexist/trials.h"
#include "scenario/asked.h"
#include "scenario/link_table.h"
#include "scenario/rehearsal.h"
#include "scenario/without.h"

namespace hopbench {
namespace {

/// An order to everyone to bleed the first cell, and one to leave it off; none if the bus cannot say that.
std::vector<PlanEntry> orders_to_everyone(const TrialGround& ground, const ChainDescription& chain) {
  const BalancingSpec& balancing = chain.controller.balancing;
  std::vector<PlanEntry> orders;
  if (!ground.protocol.topic_named(balancing.topic)) return orders;
  for (const std::uint64_t mask : {1U, 0U}) {
    PlanEntry order;
    order.name = fmt::format("{}-to-everyone", mask == 1 ? "on" : "off");
    order.topic = balancing.topic;
    order.arguments = {{balancing.field, mask}};
    const Rehearsal rehearsal = Rehearser(ground.protocol, chain).rehearse(order, Telling::middle, 1, false);
    if (rehearsal.end == Rehearsal::End::not_asked) return {};
    orders.push_back(std::move(order));
  }
  return orders;
}

/// How often frames of this exchange went over each link, told in one sentence if that is not as it should be.
std::optional<std::string> wrong_frames(const TrialGround& ground, const LoggedExchange& exchange,
                                        const ChainDescription& chain) {
  const LinkTable links(chain.shape, chain.nodes.size());
  const std::string name = entry_name(chain, exchange.entry);
  if (exchange.answering_rows > 0 && !ground.protocol.description().forward.broadcast_answered) {
    return fmt::format("{} is answered, though nobody may.", name);
  }
  const bool round = everyone_comes_round(links, ground.protocol.description());
  const std::size_t outward = round ? links.size() : chain.nodes.size();
  const std::size_t asks = exchange.rows - exchange.answering_rows;
  if (asks < outward) return fmt::format("{} passes only {} of {} hops.", name, asks, outward);
  if (asks > outward)
    return fmt::format("{} passes {} hops in a chain of {}: some node sends it again.", name, asks, outward);
  if (!exchange.clean()) return fmt::format("{}: {}.", name, fate_of(exchange, chain));
  return std::nullopt;
}

/// A run in which every other exchange has one frame damaged, and where.
struct Damaging {
  struct Blow {
    std::uint16_t link = 0;
    std::uint32_t bit = 0;
    bool answer = false;
    std::size_t entry = 0;
  };
  std::vector<Blow> blows;
};

/// Each byte of each frame on each hop that it passes; in chains of many nodes some of them, the same every time.
Damaging damaging(const TrialGround& ground, const TriedChain& tried, const KindOrder& order) {
  const ChainDescription& chain = tried.chain;
  const LinkTable links(chain.shape, chain.nodes.size());
  const Rehearser rehearser(ground.protocol, chain);
  const std::uint32_t char_bits = (ground.protocol.line().char_half_bits() + 1) / 2;
  constexpr std::size_t most = 1500;
  Damaging made;
  const auto answered = answered_undisturbed(ground, tried);
  for (std::size_t entry = tried.first; entry < chain.controller.plan.size(); ++entry) {
    const PlanEntry& plan = chain.controller.plan[entry];
    if (plan.node == nobody || !answered[entry]) continue;
    const Rehearsal rehearsal = rehearser.rehearse(plan, Telling::middle, 1, false);
    if (rehearsal.end != Rehearsal::End::answered) continue;
    for (const bool answer : {false, true}) {
      const std::uint32_t chars = ground.protocol.wire_chars(answer ? rehearsal.answer : rehearsal.ask);
      const std::uint16_t from = answer ? links.answers_on(plan.node) : links.first();
      const std::uint16_t to = answer ? links.home() : static_cast<std::uint16_t>(from + plan.node);
      for (std::uint16_t link = from; link <= to; ++link) {
        for (std::uint32_t byte = 0; byte < chars; ++byte) {
          made.blows.push_back({link, byte * char_bits + (byte + link) % char_bits, answer, entry});
        }
      }
    }
  }
  const std::size_t bound = order.size() <= 3 ? most : most / 3;
  if (made.blows.size() <= bound) return made;
  Damaging some;
  for (std::size_t i = 0; i < bound; ++i) some.blows.push_back(made.blows[i * made.blows.size() / bound]);
  return some;
}

}  // namespace

Trial try_to_everyone(const TrialGround& ground, const KindOrder& order, bool balancing) {
  Trial trial;
  if (balancing || !not_triable(PromiseNumber::to_everyone, ground).empty()) return trial;
  TriedChain tried = tried_chain(ground, order, false);
  ChainDescription& chain = tried.chain;
  const auto orders = orders_to_everyone(ground, chain);
  auto& plan = chain.controller.plan;
  std::vector<PlanEntry> to_everyone;
  std::copy_if(plan.begin(), plan.end(), std::back_inserter(to_everyone), [&](const PlanEntry& entry) {
    return entry.node == nobody && entry.topic != chain.controller.balancing.topic;
  });
  if (orders.empty() && to_everyone.empty()) return trial;
  plan = to_everyone;
  plan.insert(plan.end(), orders.begin(), orders.end());
  // On, off, on, off, on: in the end all are on. A node that acts once more does so within some seconds, or nobody
  // would call it the same order.
  constexpr Nanos some_seconds = 5 * second;
  const std::uint64_t exchanges = tried.offers + 2 * plan.size() + (orders.empty() ? 0 : plan.size() - 1);
  const RunLog log = logged_exchanges(ground.protocol, chain, ground.seed, exchanges, some_seconds);
  count_run(log, trial.counts);
  for (const LoggedExchange& exchange : log.exchanges) {
    if (exchange.entry >= plan.size()) continue;
    trial.breach = wrong_frames(ground, exchange, chain);
    if (trial.breach) return trial;
  }
  if (log.strays > 0) trial.breach = "Something comes back to the controller though nobody may answer.";
  for (std::size_t node = 0; !orders.empty() && !trial.breach && node < chain.nodes.size(); ++node) {
    const KindSpec& kind = chain.kinds[chain.nodes[node].kind];
    if (kind.board.bleed_mohm <= 0 || node >= log.flags.size()) continue;
    const auto& topics = kind.topics;
    const std::string& topic = orders.front().topic;
    if (!topics.empty() && std::find(topics.begin(), topics.end(), topic) == topics.end()) continue;
    const std::uint32_t bled = log.flags[node] >> 16U;
    if (bled != 1) {
      trial.breach = fmt::format("{} does not do what everyone is told.", chain.nodes[node].name);
    } else if (log.bleeds_moved[node] != 5) {
      trial.breach = fmt::format("Five orders to everyone move the bleeds of {} {} times.", chain.nodes[node].name,
                                 log.bleeds_moved[node]);
    }
  }
  return trial;
}

Trial try_after_damage(const TrialGround& ground, const KindOrder& order, bool balancing) {
  Trial trial;
  TriedChain tried = tried_chain(ground, order, balancing);
  if (balancing && (tried.bled == 0 || order.size() > 3)) return trial;
  // Pauses are longer here than anywhere: what sleepers make of them is another promise.
  tried.chain = without(std::move(tried.chain), Mechanism::wake_up);
  ChainDescription& chain = tried.chain;
  chain.controller.retries = 0;
  chain.controller.enrol.again_after = 0;
  const Damaging damage = damaging(ground, tried, order);
  if (damage.blows.empty()) return trial;
  // The plan as it is to go: what is damaged, and the same once more. Each exchange has a time of its own.
  std::vector<PlanEntry> plan(chain.controller.plan.begin(),
                              chain.controller.plan.begin() + static_cast<std::ptrdiff_t>(tried.first));
  const Nanos each = roomy_exchange(ground, chain);
  chain.controller.pace = each;
  chain.controller.gap = 0;
  const std::uint64_t before = tried.offers + tried.first;
  for (std::size_t i = 0; i < damage.blows.size(); ++i) {
    const Damaging::Blow& blow = damage.blows[i];
    for (const char* what : {"hit/", "next/"}) {
      PlanEntry entry = chain.controller.plan[blow.entry];
      entry.name = what + std::to_string(i) + "/" + entry.name;
      plan.push_back(std::move(entry));
    }
    FaultSpec fault;
    fault.name = std::to_string(i);
    fault.kind = FaultClass::corruption;
    fault.links = {blow.link};
    fault.leg = blow.answer ? LegFilter::answers : LegFilter::asks;
    fault.from = static_cast<Nanos>(before + 2 * i) * each;
    fault.to = fault.from + each;
    fault.at_most = 1;
    fault.first_bit = blow.bit;
    chain.faults.push_back(std::move(fault));
  }
  chain.controller.plan = std::move(plan);
  const RunLog log = logged_exchanges(ground.protocol, chain, ground.seed, before + 2 * damage.blows.size());
  count_run(log, trial.counts);
  if (log.stuck) trial.breach = "After damage frames go round without end.";
  for (const LoggedExchange& exchange : log.exchanges) {
    trial.counts.strikes += exchange.strikes;
    if (trial.breach || exchange.entry < tried.first) continue;
    const std::size_t number = (exchange.entry - tried.first) / 2;
    const bool hit = (exchange.entry - tried.first) % 2 == 0;
    if (number >= damage.blows.size()) continue;
    const Damaging::Blow& blow = damage.blows[number];
    const std::string name = chain.controller.plan[exchange.entry].name;
    const std::string where = fmt::format(
        "one bit wrong in character {} of the {} of {} on hop {}",
        blow.bit / ((ground.protocol.line().char_half_bits() + 1) / 2) + 1, blow.answer ? "answer" : "ask",
        name.substr(name.find('/', name.find('/') + 1) + 1), LinkTable(chain.shape, chain.nodes.size())[blow.link].hop);
    if (hit && (exchange.outcome == Outcome::wrong || (exchange.undetected && exchange.outcome == Outcome::answered))) {
      trial.breach = fmt::format("The controller takes it for a good answer: {}.", where);
    } else if (!hit && !exchange.clean()) {
      trial.breach = fmt::format("The next exchange is {}, after {}.", fate_of(exchange, chain), where);
    }
  }
  return trial;
}

}  // namespace hopbench
