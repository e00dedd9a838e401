#include "study/observed.h"

#include <type_traits>

#include "support/catch.h"

using namespace hopbench;

namespace {
struct Counting final : Observer {
  void begin(const RunInfo&) override {}
  void stray(const Stray&) override {}
  void arrival(const Arrival&) override {}
  void tally(const Tally&) override {}
  void state(const State&) override {}
  void gap(const Gap&) override {}
  void dropped(const Dropped&) override {}
  void command(const Remark&) override {}
  void note(const Remark&) override {}
  void exchange(const ExchangeObs& obs) override { last = obs.number; }
  void end(Nanos at) override { until = at; }
  std::uint64_t last = 0;
  Nanos until = 0;
};
}  // namespace

TEST_CASE("an observer is told of exchanges, and has no way to ask why") {
  Counting counting;
  Observed door(counting);
  ExchangeObs obs;
  obs.number = 7;
  const ExchangeTruth truth{};
  door.exchange(obs, &truth);
  door.end(5, {});
  CHECK(counting.last == 7);
  CHECK(counting.until == 5);
  STATIC_REQUIRE(
      !std::is_invocable_v<decltype(&Observer::exchange), Observer&, const ExchangeObs&, const ExchangeTruth*>);
}
