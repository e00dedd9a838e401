// What check passes without a word works: without any mechanism every exchange is answered, and the ways of running it
// agree.
#include <cstdlib>
#include <map>
#include <string>
#include <vector>

#include "chain/chain.h"
#include "check/random_text.h"
#include "scenario/asked.h"
#include "scenario/without.h"
#include "support/catch.h"
#include "support/collector.h"
#include "text/scenario.h"

namespace hopbench {
namespace {

std::uint64_t from_environment(const char* name, std::uint64_t otherwise) {
  const char* text = std::getenv(name);
  return text == nullptr ? otherwise : std::strtoull(text, nullptr, 10);
}

Collector run(const Scenario& scenario, Way way, std::uint64_t exchanges) {
  const Protocol protocol(scenario.bus);
  Collector kept;
  Chain chain(protocol, scenario.chain, scenario.chain.seed, way, Seat::simulated, kept);
  (void)chain.run_exchanges(exchanges);
  chain.finish({});
  return kept;
}

std::string difference(const Collector& one, const Collector& other) {
  for (std::size_t i = 0; i < std::min(one.exchanges.size(), other.exchanges.size()); ++i) {
    const std::string a = describe(one.exchanges[i]);
    const std::string b = describe(other.exchanges[i]);
    if (a != b) return "one:   " + a + "\nother: " + b + "\n";
  }
  if (one.exchanges.size() != other.exchanges.size()) return "one has more exchanges than the other\n";
  return one.strays == other.strays && one.states == other.states ? "" : "strays or states differ\n";
}

/// Empty if all is well.
std::string trouble(Scenario scenario) {
  scenario.chain = with_only(scenario.chain, {});
  const std::uint64_t exchanges = 3 * asked_entries(scenario.chain).size();
  const Collector whole = run(scenario, Way::every_byte, exchanges);
  std::string found;
  for (const KeptExchange& each : whole.exchanges) {
    if (each.seen.outcome == Outcome::answered) continue;
    found = whole.info.entries[each.seen.entry].name + " is not answered: " + describe(each) + "\n";
    break;
  }
  if (whole.exchanges.size() != exchanges) found += "it got stuck\n";
  for (const Way way : {Way::events, Way::repeats}) found += difference(whole, run(scenario, way, exchanges));
  return found;
}

}  // namespace

TEST_CASE("what check passes without a word is answered each time, in every way of running it") {
  const std::uint64_t first = from_environment("HOPBENCH_FIRST_SCENARIO", 0);
  const std::uint64_t scenarios = from_environment("HOPBENCH_SCENARIOS", 400);
  const bool show = std::getenv("HOPBENCH_SHOW") != nullptr;
  std::uint64_t silent = 0;
  std::uint64_t warned = 0;
  std::map<std::string, int> said;
  for (std::uint64_t number = first; number < first + scenarios; ++number) {
    const std::string text = random_text(number);
    std::vector<Problem> problems;
    const auto scenario = load_scenario({"drawn.txtpb", text}, stored_bus(""), problems);
    for (const Problem& problem : problems) {
      if (show) ++said[(problem.severity == Severity::warning ? "w " : "e ") + problem.what.substr(0, 60)];
    }
    if (!scenario) continue;
    if (!problems.empty()) {
      ++warned;
      continue;
    }
    ++silent;
    const std::string found = trouble(*scenario);
    INFO("scenario " << number << "\n" << text);
    CHECK(found.empty());
    if (!found.empty()) WARN(number << ": " << found);
  }
  if (show) {
    for (const auto& [what, times] : said) WARN(times << " " << what);
    WARN(silent << " silent, " << warned << " with warnings, of " << scenarios);
  }
  // A test that runs few of them would prove little.
  CHECK(silent > scenarios / 8);
}

}  // namespace hopbench
