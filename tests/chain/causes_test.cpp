// Causes against what would have been: a try that came to nothing because of a mechanism does not without it, all luck
// being the same.
#include <algorithm>
#include <map>
#include <set>
#include <string>

#include "chain/chain.h"
#include "scenario/without.h"
#include "support/catch.h"
#include "support/collector.h"
#include "support/physical_scenario.h"
#include "support/random_scenario.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

/// One try an exchange, and so far apart that each is asked at the same instant whatever became of those before it.
void set_apart(ChainDescription& chain) {
  chain.controller.retries = 0;
  chain.controller.late_window = 0;
  chain.controller.gap = 0;
  chain.controller.pace = 3 * chain.controller.time_out + 3 * second;
}

struct Told {
  Nanos start = 0;
  Outcome outcome = Outcome::lost;
  Cause cause = Cause::none;
};
using Turn = std::pair<std::string, std::uint64_t>;  // plan entry and turn

std::map<Turn, Told> told_of(const RandomScenario& made, const ChainDescription& chain, Nanos until) {
  const Protocol protocol(made.bus);
  Collector kept;
  Chain world(protocol, chain, 7, Way::events, Seat::simulated, kept);
  (void)world.run_until(until);
  world.finish({});
  std::map<Turn, Told> all;
  for (const KeptExchange& each : kept.exchanges) {
    const std::string& entry = kept.info.entries.at(each.seen.entry).name;
    all[{entry, each.seen.turn}] = {each.seen.start, each.attempts.back().outcome, each.attempt_truths.back().cause};
  }
  return all;
}

struct Count {
  std::uint64_t failed = 0;
  std::uint64_t no_mechanism = 0;
  std::uint64_t too_far = 0;  // of these, with faults put in as well
  std::uint64_t borne_out = 0;
  std::uint64_t several = 0;
  std::uint64_t out_of_step = 0;
  std::map<std::string, std::uint64_t> not_borne_out;  // by why
};

/// Why something may be named that was neither necessary nor enough. None if there is no such reason.
std::string excuse(const ChainDescription& chain, Cause named, Cause other) {
  // A watchdog trips because its node is busy: without that nothing trips, and without the watchdog the node is busy.
  if (named == Cause::watchdog && other == Cause::busy_node) return "the watchdog of a busy node";
  // A node on the way may hear badly what it passes on well, for it sends it on before it has judged it.
  const bool in_passing = std::any_of(chain.nodes.begin(), chain.nodes.end(), [&](const NodeSpec& node) {
    return chain.kinds[node.kind].forwarding.kind != Forwarding::whole;
  });
  if (in_passing && (named < Cause::injected_corruption)) return "heard badly, and passed on well";
  // What is held up comes at another time, with other noise.
  const bool held_up =
      !chain.faults.empty() || std::any_of(chain.kinds.begin(), chain.kinds.end(),
                                           [](const KindSpec& kind) { return !kind.processor.duties.empty(); });
  return held_up ? "held up, and struck at another time" : "";
}

void look(const RandomScenario& made, Count& count, const std::string& name) {
  constexpr Nanos span = 300 * second;
  const auto as_is = told_of(made, made.chain, span);
  std::map<Mechanism, std::map<Turn, Told>> off;
  const auto without_it = [&](Mechanism mechanism) -> const std::map<Turn, Told>& {
    const auto found = off.find(mechanism);
    if (found != off.end()) return found->second;
    return off[mechanism] = told_of(made, without(made.chain, mechanism), span);
  };
  for (const auto& [turn, told] : as_is) {
    if (told.outcome == Outcome::answered) continue;
    ++count.failed;
    INFO(name << ", " << turn.first << " turn " << turn.second << ": " << name_of(told.outcome) << " by "
              << name_of(told.cause));
    CHECK(told.cause != Cause::none);
    const auto named = mechanism_of(told.cause);
    if (!named) {
      ++count.no_mechanism;
      if (told.cause != Cause::chain_time || made.chain.faults.empty()) continue;
      // Too far for the time-out is what no fault put in has to do with.
      const auto& no_faults = without_it(Mechanism::injected);
      const auto there = no_faults.find(turn);
      if (there == no_faults.end() || there->second.start != told.start) continue;
      ++count.too_far;
      CHECK(there->second.outcome != Outcome::answered);
      continue;
    }
    const auto& others = without_it(*named);
    const auto other = others.find(turn);
    if (other == others.end() || other->second.start != told.start) {
      ++count.out_of_step;
      continue;
    }
    if (other->second.outcome == Outcome::answered) {
      ++count.borne_out;
      continue;
    }
    // Something else fails it too. Then that alone must be enough: without that other thing it fails all the same.
    const auto second_one = mechanism_of(other->second.cause);
    if (!second_one) {
      ++count.several;
      continue;
    }
    const auto& third = without_it(*second_one);
    const auto there = third.find(turn);
    const bool wrong =
        there != third.end() && there->second.start == told.start && there->second.outcome == Outcome::answered;
    if (!wrong) {
      ++count.several;
      continue;
    }
    const std::string why = excuse(made.chain, told.cause, other->second.cause);
    INFO("without that it fails by " << name_of(other->second.cause) << ", and without this it does not");
    CHECK(why != "");
    ++count.not_borne_out[why];
  }
}

}  // namespace

TEST_CASE("what is named as the cause of a failed try is what it would not have failed without", "[causes]") {
  Count count;
  for (std::uint64_t number = 0; number < 60; ++number) {
    RandomScenario made = random_scenario(number);
    set_apart(made.chain);
    look(made, count, "random " + std::to_string(number));
    // Its records closed while something of them is on its way.
    made.chain.controller.late_window = static_cast<Nanos>(1 + number) * millisecond;
    look(made, count, "random, closed early " + std::to_string(number));
    made = physical_scenario(number);
    set_apart(made.chain);
    look(made, count, "physical " + std::to_string(number));
  }
  // Measured: of 6,893 failed tries 2,771 were borne out, 1,961 had several causes, each enough by itself, and 43 are
  // excused.
  std::uint64_t excused = 0;
  for (const auto& [why, times] : count.not_borne_out) excused += times;
  INFO(count.failed << " failed: " << count.borne_out << " borne out, " << count.several << " with several causes, "
                    << excused << " excused, " << count.no_mechanism << " without a mechanism (" << count.too_far
                    << " too far, faults or not), " << count.out_of_step << " out of step");
  CHECK(count.failed > 6000);
  CHECK(count.borne_out > 2500);
  CHECK(count.several < 2200);
  CHECK(count.no_mechanism < 1700);
  CHECK(count.too_far > 80);
  CHECK(count.out_of_step < count.failed / 10);
  CHECK(excused < (count.borne_out + count.several) / 50);
}

}  // namespace hopbench
