// What is said of bursts and of times without a good answer is what the controller saw, over random chains.
#include "study/bursts.h"

#include <algorithm>
#include <map>

#include "chain/chain.h"
#include "measure/fan_out.h"
#include "study/burst_words.h"
#include "study/evidence_fold.h"
#include "study/explanation.h"
#include "study/words.h"
#include "support/catch.h"
#include "support/collector.h"
#include "support/dice.h"
#include "support/physical_scenario.h"
#include "support/random_scenario.h"

using namespace hopbench;

namespace {

struct Seen {
  Collector all;
  EvidenceFold fold;
};

/// Runs it for some exchanges, as the controller sees it. False: it gets stuck.
bool see(const RandomScenario& scenario, Seen& seen) {
  const Protocol protocol(scenario.bus);
  AtController shut(seen.fold, &protocol);
  Observed door(shut);
  FanOut both{&door, &seen.all};
  Chain chain(protocol, scenario.chain, 5, Way::repeats, Seat::simulated, both);
  if (!chain.run_exchanges(1500)) return false;
  chain.finish({});
  return true;
}

/// In the order of asking; a good answer is one that was accepted, whatever its values were worth.
std::vector<const KeptExchange*> in_order(const Collector& all) {
  std::vector<const KeptExchange*> order;
  for (const auto& each : all.exchanges) order.push_back(&each);
  std::sort(order.begin(), order.end(), [](const auto* a, const auto* b) { return a->seen.number < b->seen.number; });
  return order;
}

bool good(Outcome outcome) {
  return outcome == Outcome::answered || outcome == Outcome::stale || outcome == Outcome::wrong;
}

/// What became of a try, as it stands in its record.
bool failed(const KeptExchange& exchange, std::size_t attempt) {
  const bool whole = attempt + 1 == exchange.attempts.size() && !good(exchange.seen.outcome);
  return whole || !good(exchange.attempts[attempt].outcome);
}

/// Longest time between good answers with a failed try in it, found anew: by instants, not by runs.
Stretch longest_of(const Collector& all, std::optional<std::uint16_t> node) {
  std::vector<Nanos> answers;
  std::vector<Nanos> bad;
  std::optional<Nanos> first;
  for (const auto* each : in_order(all)) {
    if (node && each->seen.node != *node) continue;
    if (!first) first = each->seen.start;
    if (good(each->seen.outcome)) answers.push_back(each->seen.decided);
    for (std::size_t i = 0; i < each->attempts.size(); ++i) {
      if (failed(*each, i)) bad.push_back(each->attempts[i].start);
    }
  }
  Stretch longest;
  if (!first) return longest;
  answers.insert(answers.begin(), *first);
  answers.push_back(std::max(all.ended, answers.back()));
  for (std::size_t i = 1; i < answers.size(); ++i) {
    const auto in = static_cast<std::uint64_t>(
        std::count_if(bad.begin(), bad.end(), [&](Nanos at) { return at >= answers[i - 1] && at < answers[i]; }));
    if (in > 0 && answers[i] - answers[i - 1] > longest.length()) longest = {answers[i - 1], answers[i], in};
  }
  return longest;
}

}  // namespace

TEST_CASE("the longest time without a good answer is that of the observations, from any node and from each") {
  int looked = 0;
  for (std::uint64_t number = 0; number < 120; ++number) {
    CAPTURE(number);
    Seen seen;
    if (!see(number % 2 == 0 ? physical_scenario(number) : random_scenario(number), seen)) continue;
    const Bursts& bursts = seen.fold.evidence().bursts;
    const auto expected = longest_of(seen.all, std::nullopt);
    CHECK(bursts.longest.length() == expected.length());
    CHECK(bursts.longest.failed == expected.failed);
    if (expected.failed > 0) {
      ++looked;
      CHECK(bursts.longest.from == expected.from);
    }
    REQUIRE(bursts.of_nodes.size() == seen.all.info.nodes.size());
    for (std::uint16_t node = 0; node < bursts.of_nodes.size(); ++node) {
      CAPTURE(node);
      CHECK(bursts.of_nodes[node].length() == longest_of(seen.all, node).length());
    }
    // And what is said is that.
    const auto explanation = explain(seen.fold.evidence(), Reality::simulated);
    const auto said = std::find_if(
        explanation.where.sentences.begin(), explanation.where.sentences.end(),
        [](const std::string& sentence) { return sentence.find("Longest time without") != std::string::npos; });
    CHECK((said != explanation.where.sentences.end()) == (expected.failed > 0));
    if (said != explanation.where.sentences.end()) {
      INFO(*said);
      CHECK(said->find(words::span(expected.length()) + " (" + words::instant(expected.from) + " to " +
                       words::instant(expected.until)) != std::string::npos);
    }
  }
  CHECK(looked > 60);
}

TEST_CASE("runs of failed tries are those in the order of asking") {
  for (std::uint64_t number = 0; number < 60; ++number) {
    CAPTURE(number);
    Seen seen;
    if (!see(number % 2 == 0 ? physical_scenario(number) : random_scenario(number), seen)) continue;
    std::vector<bool> tries;  // failed
    for (const auto* each : in_order(seen.all)) {
      for (std::size_t i = 0; i < each->attempts.size(); ++i) {
        tries.push_back(failed(*each, i));
      }
      // Taken, though it came for none of its tries.
      if (good(each->seen.outcome)) tries.push_back(false);
    }
    std::uint64_t alone = 0;
    std::uint64_t longest = 0;
    std::uint64_t total = 0;
    for (std::size_t i = 0; i < tries.size();) {
      std::size_t next = i;
      while (next < tries.size() && tries[next]) ++next;
      const auto length = static_cast<std::uint64_t>(next - i);
      longest = std::max(longest, length);
      total += length;
      alone += length == 1 ? 1 : 0;
      i = next + 1;
    }
    RunLengths sum;
    for (const auto& each : seen.fold.evidence().bursts.all) sum.add(each);
    CHECK(sum.total() == total);
    CHECK(sum.alone() == alone);
    CHECK(sum.longest == longest);
  }
}

TEST_CASE("exchanges that close in another order than they were asked in are counted as they were asked") {
  BurstFold fold;
  fold.begin(2, 1);
  const auto asked = [](std::uint64_t number, std::uint16_t node) {
    return BurstFold::Asked{number, 0, 1, node, 0, static_cast<Nanos>(number) * second};
  };
  fold.answered(asked(0, 0), second / 2);
  fold.failed(asked(2, 0), Ending::late);
  fold.answered(asked(3, 1), 3 * second + 1);
  fold.failed(asked(1, 1), Ending::late);
  fold.end(4 * second);
  const auto& late = fold.bursts().all[static_cast<std::size_t>(Ending::late)];
  CHECK(late.longest == 2);
  CHECK(late.alone() == 0);
  CHECK(fold.bursts().longest.failed == 2);
  CHECK(fold.bursts().longest.from == second / 2);
  CHECK(fold.bursts().longest.until == 3 * second + 1);
  // With each node by itself they stand alone.
  CHECK(fold.bursts().with_node[static_cast<std::size_t>(Ending::late)].alone() == 2);
}

TEST_CASE("nothing goes on over a gap, nor over exchanges that stand as a sum") {
  BurstFold fold;
  fold.begin(1, 1);
  fold.failed({0, 0, 1, 0, 0, second}, Ending::no_answer);
  fold.cut(2 * second, 10 * second);
  fold.failed({1, 0, 1, 0, 0, 11 * second}, Ending::no_answer);
  fold.end(12 * second);
  CHECK(fold.bursts().all[static_cast<std::size_t>(Ending::no_answer)].alone() == 2);
  CHECK(fold.bursts().longest.length() == 2 * second);
  CHECK(fold.bursts().longest.from == 10 * second);
}
