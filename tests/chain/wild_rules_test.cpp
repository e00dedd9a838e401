// What holds of every record of a chain, whatever happens on it: what a controller takes fits what it asked, and damage
// that is passed on is known to be damage.
#include <algorithm>
#include <map>
#include <string>
#include <tuple>
#include <vector>

#include "chain/chain.h"
#include "scenario/link_table.h"
#include "support/catch.h"
#include "support/collector.h"
#include "support/wild_scenario.h"

namespace hopbench {
namespace {

Collector run(const Protocol& protocol, const RandomScenario& scenario, std::uint64_t exchanges) {
  Collector kept;
  Chain chain(protocol, scenario.chain, 7, Way::events, Seat::simulated, kept);
  (void)chain.run_exchanges(exchanges);
  chain.finish({});
  return kept;
}

/// Random scenarios of both families in turn.
RandomScenario some_scenario(std::uint64_t number) {
  return number % 2 == 0 ? random_scenario(number / 2) : wild_scenario(number / 2);
}

bool was_taken(Outcome outcome) {
  switch (outcome) {
    case Outcome::answered:
    case Outcome::refused:
    case Outcome::truncated:
    case Outcome::stale:
    case Outcome::wrong:
      return true;
    default:
      return false;
  }
}

/// An answer that a controller has taken is about what it asked, from whom it asked, and says all that it asked for.
void require_fits(const Protocol& protocol, const RandomScenario& scenario, const KeptExchange& e) {
  const RolesSpec& roles = scenario.bus.roles;
  Frame ask;
  Frame answer;
  REQUIRE(protocol.parse(e.asked, ask) == Damage::none);
  REQUIRE(protocol.parse(e.answered, answer) == Damage::none);
  REQUIRE(protocol.topic(answer) == protocol.topic(ask));
  if (!roles.source.empty()) REQUIRE(protocol.source(answer) == scenario.chain.nodes[e.seen.node].address);
  if (scenario.chain.controller.on_late != OnLate::accept) REQUIRE(protocol.exchange(answer) == protocol.exchange(ask));
  REQUIRE((answer.role == Role::refusal) == (e.seen.outcome == Outcome::refused));
  if (answer.role == Role::refusal) return;
  const auto asked = protocol.values_asked(ask);
  if (e.seen.outcome == Outcome::answered && asked) REQUIRE(protocol.values_told(answer) >= asked->count);
  if (e.seen.outcome == Outcome::truncated) REQUIRE(protocol.values_told(answer) < asked->count);
}

bool spoils_what_is_passed_on(Cause cause) {
  switch (cause) {
    case Cause::bit_noise:
    case Cause::burst:
    case Cause::contact:
    case Cause::cable_open:
    case Cause::charger:
    case Cause::bleed_edge:
    case Cause::pulse_width:
    case Cause::fifo_overrun:
    case Cause::injected_corruption:
    case Cause::inherited:
      return true;
    default:
      return false;
  }
}

struct Passing {
  std::size_t whole = 0;
  std::size_t by_character = 0;
  std::size_t by_character_blind = 0;  // the framing hides the head
  std::size_t electrical = 0;
};

/// What a node has heard damaged, and has sent on all the same, was bad before it came to the next hop.
void require_inherited(const RandomScenario& scenario, const KeptExchange& e, Passing& passing) {
  const ChainDescription& chain = scenario.chain;
  const LinkTable table(chain.shape, chain.nodes.size());
  const FramingKind framing = scenario.bus.framing.kind;
  const bool blind = framing != FramingKind::sized && framing != FramingKind::fixed && framing != FramingKind::silence;
  std::map<std::tuple<std::uint8_t, bool, std::uint8_t, std::uint16_t>, std::vector<std::size_t>> frames;
  for (std::size_t i = 0; i < e.rows.size(); ++i) {
    const HopRow& row = e.rows[i];
    frames[{row.attempt, row.answering, row.copy, row.link}].push_back(i);
  }
  // What ran into something, or reads as something else from the start, is bad without having been struck.
  const auto merged = [](const RowTruth& truth) { return truth.cause == Cause::merged; };
  if (std::any_of(e.row_truths.begin(), e.row_truths.end(), merged)) return;
  for (const RowTruth& truth : e.row_truths) {
    const HopRow& row = e.rows[truth.row];
    if (row.symptom == Symptom::none || !spoils_what_is_passed_on(truth.cause)) continue;
    const std::uint16_t node = table[row.link].to;
    const auto next = frames.find({row.attempt, row.answering, row.copy, table.onward(row.link)});
    // An injected fault may have put two of one name on a link.
    if (node == nobody || next == frames.end() || next->second.size() != 1) continue;
    if (frames[{row.attempt, row.answering, row.copy, row.link}].size() != 1) continue;
    const HopRow& after = e.rows[next->second.front()];
    if (after.symptom == Symptom::none) continue;  // what struck it did it no harm
    INFO("link " << row.link << " " << name_of(truth.cause));
    REQUIRE(after.inherited);
    switch (chain.kinds[chain.nodes[node].kind].forwarding.kind) {
      case Forwarding::whole:
        ++passing.whole;
        break;
      case Forwarding::by_character:
        ++(blind ? passing.by_character_blind : passing.by_character);
        break;
      case Forwarding::electrical:
        ++passing.electrical;
        break;
    }
  }
}

/// An ask that its node has answered is at its end: what becomes of it beyond that node, where none can take it off the
/// chain, is no reason for anything.
void require_reason_before_node(const RandomScenario& scenario, const KeptExchange& e, std::size_t& beyond) {
  const ChainDescription& chain = scenario.chain;
  const LinkTable table(chain.shape, chain.nodes.size());
  const std::size_t node = e.seen.node;
  for (std::uint8_t i = 0; i < e.attempts.size(); ++i) {
    const AttemptTruth& why = e.attempt_truths[i];
    const auto of_try = [&](const HopRow& row, bool answering) {
      return row.attempt == i && row.answering == answering && row.copy == 0;
    };
    const auto leaves_the_node = [&](const HopRow& row) {
      return of_try(row, true) && row.link == table.answers_on(node);
    };
    const auto runs_on = [&](const HopRow& row) {
      return of_try(row, false) && table[row.link].from != nobody && table[row.link].from >= node &&
             !table[row.link].homeward;
    };
    if (std::none_of(e.rows.begin(), e.rows.end(), leaves_the_node)) continue;
    if (std::none_of(e.rows.begin(), e.rows.end(), runs_on)) continue;
    ++beyond;
    REQUIRE(why.cause != Cause::no_address);
    // An ask may come round and pass for its answer; else nobody would have had to claim it.
    if (e.attempts[i].outcome != Outcome::wrong) REQUIRE(why.cause != Cause::unclaimed);
    bool on_the_ask = false;
    bool on_the_answer = false;
    for (const RowTruth& truth : e.row_truths) {
      const HopRow& row = e.rows[truth.row];
      if (row.link != why.link || truth.cause != why.cause) continue;
      if (row.attempt == i && row.answering) on_the_answer = true;
      if (runs_on(row)) on_the_ask = true;
    }
    REQUIRE((!on_the_ask || on_the_answer));
  }
}

}  // namespace

TEST_CASE("answers taken fit what was asked, damage passed on is inherited, and an ask ends at its node") {
  std::map<Outcome, std::size_t> taken;
  Passing passing;
  std::size_t beyond = 0;
  for (std::uint64_t number = 0; number < 600; ++number) {
    const RandomScenario scenario = some_scenario(number);
    for (const Protocol::Fault& fault : Protocol::faults_of(scenario.bus)) FAIL(fault.part << ": " << fault.what);
    const Protocol protocol(scenario.bus);
    for (const KeptExchange& each : run(protocol, scenario, 60).exchanges) {
      INFO("scenario " << number << "\n" << describe(each));
      require_inherited(scenario, each, passing);
      if (each.seen.node != nobody) require_reason_before_node(scenario, each, beyond);
      if (each.seen.node == nobody || !was_taken(each.seen.outcome)) continue;
      require_fits(protocol, scenario, each);
      ++taken[each.seen.outcome];
    }
  }
  // What never came about was not looked at.
  for (const Outcome outcome :
       {Outcome::answered, Outcome::refused, Outcome::truncated, Outcome::stale, Outcome::wrong}) {
    INFO(name_of(outcome));
    CHECK(taken[outcome] > 50);
  }
  CHECK(passing.whole > 200);
  CHECK(passing.by_character > 200);
  CHECK(passing.by_character_blind > 200);
  CHECK(passing.electrical > 200);
  CHECK(beyond > 1000);
}

}  // namespace hopbench
