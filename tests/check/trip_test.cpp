// The shortest round trip in closed form against what a chain does that nothing holds up.
#include <algorithm>
#include <map>

#include "check/random_text.h"
#include "check/run_text.h"
#include "scenario/asked.h"
#include "scenario/shortest_trip.h"
#include "scenario/without.h"
#include "support/catch.h"

namespace hopbench {
namespace {

bool is_stuffed(FramingKind kind) {
  return kind == FramingKind::cobs || kind == FramingKind::slip || kind == FramingKind::hdlc;
}

}  // namespace

TEST_CASE("an undisturbed exchange takes the shortest trip, and no exchange takes less") {
  const Numbers numbers = numbers_to_try(300);
  std::uint64_t exact = 0;
  std::uint64_t looked_at = 0;
  for (std::uint64_t number = numbers.first; number < numbers.beyond; ++number) {
    const std::string text = random_text(number);
    const LoadedText loaded = load_text(text);
    if (!loaded.silent()) continue;
    Scenario scenario = *loaded.scenario;
    scenario.chain = without(scenario.chain, Mechanism::room);
    INFO("scenario " << number << "\n" << text);
    const Protocol protocol(scenario.bus);
    const Rehearser rehearser(protocol, scenario.chain);
    std::map<std::string, Nanos> trips;
    for (const PlanEntry& entry : asked_entries(scenario.chain)) {
      const Rehearsal how = rehearser.rehearse(entry, Telling::middle, 1, true);
      REQUIRE(how.end == Rehearsal::End::answered);
      trips[entry.name] = shortest_trip(protocol, scenario.chain, entry, how).answered;
    }
    const Collector kept = run(scenario, Way::events, 2 * trips.size());
    for (const KeptExchange& each : kept.exchanges) {
      const Nanos took = each.seen.decided - each.attempts.front().ask_end;
      const Nanos trip = trips.at(kept.info.entries[each.seen.entry].name);
      // Each hop rounds its edges to whole nanoseconds.
      const auto slack = static_cast<Nanos>(4 * scenario.chain.links.size());
      INFO(describe(each));
      CHECK(took >= trip - slack);
      ++looked_at;
      if (is_stuffed(scenario.bus.framing.kind)) continue;
      CHECK(took <= trip + slack);
      ++exact;
    }
  }
  CHECK(exact > looked_at / 4);
  CHECK(looked_at > numbers.beyond - numbers.first);
}

}  // namespace hopbench
