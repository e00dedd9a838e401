// What stands before advice for which hands come near a battery, and behind advice that leaves single cells unguarded.
#include "study/advice.h"

#include <algorithm>
#include <array>
#include <string>
#include <string_view>

#include "study/next_step.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

Evidence evidence_of_one_hop() {
  Evidence evidence;
  evidence.sight = Sight::every_hop;
  evidence.run.nodes = {"a"};
  evidence.run.links = {{1, "controller", "a"}, {2, "a", "controller"}};
  return evidence;
}

/// One case on a hop, or on all of many.
Case case_on(std::size_t links) {
  Case which;
  which.family = Family::wire;
  which.links.assign(links, 0);
  return which;
}

Advice advice_for(const std::vector<Mechanism>& tied, std::size_t links = 1) {
  std::vector<Candidate> candidates;
  for (const auto each : tied) candidates.push_back({each, 1, {}, {}});
  return next_step(evidence_of_one_hop(), case_on(links), candidates, tied.size());
}

std::size_t times(const std::string& text, std::string_view what) {
  std::size_t count = 0;
  for (auto at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++count;
  return count;
}

/// Words for things that are near a battery, and for what is done to it. Not the program's own list, but a reader's.
bool names_what_is_near(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(),
                 [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; });
  constexpr std::array<std::string_view, 14> near{"measure the", "measure its",  "by hand",   "connector", "isolator",
                                                  "plugs",       "cable route",  "terminals", "tap ",      "contacts",
                                                  "charge once", "charge cycle", "charger",   "balancing"};
  return std::any_of(near.begin(), near.end(), [&](auto word) { return text.find(word) != std::string::npos; });
}

}  // namespace

TEST_CASE("advice that names what is near a battery is marked, and no other") {
  std::size_t marked = 0;
  for (const auto mechanism : mechanisms()) {
    for (const std::size_t links : {1U, 9U}) {
      const auto advice = advice_for({mechanism}, links);
      INFO(name_of(mechanism) << ": " << advice.text);
      REQUIRE_FALSE(advice.text.empty());
      CHECK(advice.near_battery == names_what_is_near(advice.text));
      marked += advice.near_battery ? 1 : 0;
    }
  }
  CHECK(marked > 10);
  CHECK(marked < 2 * mechanism_count);
}

TEST_CASE("to charge without balancing, or balance without the charger, is told with what to watch then, once") {
  for (const auto mechanism : mechanisms()) {
    const auto advice = advice_for({mechanism});
    INFO(advice.text);
    const bool unguarded = advice.text.find("balancing disabled") != std::string::npos ||
                           advice.text.find("charger off") != std::string::npos;
    CHECK(times(advice.text, watch_cells()) == (unguarded ? 1 : 0));
    CHECK(unguarded == (mechanism == Mechanism::charger || mechanism == Mechanism::balancing));
  }
  const auto both = advice_for({Mechanism::charger, Mechanism::bleed_edges, Mechanism::balancing});
  CHECK(times(both.text, "balancing disabled") == 2);
  CHECK(times(both.text, watch_cells()) == 1);
  CHECK(both.text.ends_with(watch_cells()));
  // One of several is enough.
  CHECK(advice_for({Mechanism::watchdog, Mechanism::supply}).near_battery);
  CHECK_FALSE(advice_for({Mechanism::watchdog, Mechanism::room}).near_battery);
  CHECK_FALSE(advice_for({}).near_battery);
}

TEST_CASE("the caution is one line, says that it is live, and leaves the work to codes and people for it") {
  const std::string caution(battery_caution());
  CHECK(caution.size() <= 2 * (80 - 13));  // two lines behind a label
  for (const char* word : {"Live", "isolated", "local codes", "qualified people"}) {
    CHECK(caution.find(word) != std::string::npos);
  }
}
