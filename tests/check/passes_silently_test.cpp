// What check passes without a word works: without any mechanism every exchange is answered, and the ways of running it
// agree.
#include <algorithm>
#include <cstdlib>
#include <map>
#include <string>
#include <vector>

#include "check/random_text.h"
#include "check/run_text.h"
#include "scenario/asked.h"
#include "scenario/without.h"
#include "support/catch.h"

namespace hopbench {
namespace {

/// Empty if all is well.
std::string trouble(const Scenario& scenario) {
  const std::uint64_t exchanges = 3 * asked_entries(scenario.chain).size();
  const Collector whole = run(scenario, Way::every_byte, exchanges);
  std::string found;
  for (const KeptExchange& each : whole.exchanges) {
    if (each.attempts.size() == 1 && each.attempts.front().outcome == Outcome::answered) continue;
    found = whole.info.entries[each.seen.entry].name + " is not answered: " + describe(each) + "\n";
    break;
  }
  if (whole.exchanges.size() != exchanges) found += "it got stuck\n";
  for (const Way way : {Way::events, Way::repeats}) found += difference(whole, run(scenario, way, exchanges));
  return found;
}

}  // namespace

TEST_CASE("what check passes without a word is answered each time, in every way of running it") {
  const Numbers numbers = numbers_to_try(300);
  std::uint64_t silent = 0;
  std::map<std::string, int> said;
  for (std::uint64_t number = numbers.first; number < numbers.beyond; ++number) {
    const std::string text = random_text(number);
    const LoadedText loaded = load_text(text);
    for (const Problem& problem : loaded.problems) {
      ++said[(problem.severity == Severity::warning ? "warning: " : "") + problem.what.substr(0, 60)];
    }
    if (!loaded.silent()) continue;
    ++silent;
    Scenario bare = *loaded.scenario;
    bare.chain = with_only(bare.chain, {});
    INFO("scenario " << number << "\n" << text);
    CHECK(trouble(bare) == "");
  }
  if (std::getenv("HOPBENCH_SHOW") != nullptr) {
    for (const auto& [what, times] : said) WARN(times << " " << what);
    WARN(silent << " passed without a word");
  }
  // Few would prove little.
  CHECK(silent > (numbers.beyond - numbers.first) / 6);
}

namespace {

/// What a run does not show: values that saturate, reads that nobody answers, orders that change nothing; and fields
/// that would hold too much but do not in this chain.
bool shows_in_a_run(const Problem& problem) {
  for (const char* words : {"carries only",
                            "only reads",
                            "would be told as",
                            "must arrive as it was sent",
                            "cannot bleed",
                            "no kind of node can bleed",
                            "cells that",
                            "looks like the",
                            "bits hold",
                            "above the high",
                            "waits for none of the answers",
                            "takes what is meant",
                            "comes empty",
                            "none that this plan asks",
                            "and holds 0 to",
                            "the ask to everyone has used up",
                            "counts the nodes between",
                            "means the controller",
                            "touch the edge",
                            "filled up to fixed_bytes",
                            "takes every value in time",
                            "hear nothing that they are asked",  // room is made below
                            "simulated node refuses"}) {
    if (problem.what.find(words) != std::string::npos) return false;
  }
  return true;
}

}  // namespace

TEST_CASE("what check refuses or warns of does not work") {
  const Numbers numbers = numbers_to_try(300);
  std::uint64_t looked_at = 0;
  for (std::uint64_t number = numbers.first; number < numbers.beyond; ++number) {
    const std::string text = random_text(number);
    const LoadedText loaded = load_text(text);
    if (loaded.problems.empty() || !std::all_of(loaded.problems.begin(), loaded.problems.end(), shows_in_a_run))
      continue;
    LoadedText as_recorded = load_text_as_recorded(text);
    if (!as_recorded.scenario) continue;
    ++looked_at;
    as_recorded.scenario->chain = without(as_recorded.scenario->chain, Mechanism::room);
    INFO("scenario " << number << "\n" << text << loaded.shown());
    CHECK(trouble(*as_recorded.scenario) != "");
  }
  CHECK(looked_at > (numbers.beyond - numbers.first) / 40);
}

}  // namespace hopbench
