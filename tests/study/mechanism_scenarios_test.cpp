// The scenarios of captures/mechanisms: each loses replies by its one mechanism, and what a designer would do about it
// brings them down.
#include <filesystem>
#include <map>
#include <set>

#include "chain/chain.h"
#include "seen/ignoring_sink.h"
#include "seen/mechanism.h"
#include "support/catch.h"
#include "support/shipped.h"

namespace hopbench {
namespace {

const std::filesystem::path folder = std::filesystem::path(HOPBENCH_SOURCE_DIR) / "captures" / "mechanisms";

struct TryCount final : IgnoringSink {
  std::map<Cause, std::uint64_t> tries;
  std::uint64_t failed = 0;
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
    for (std::size_t i = 0; i < obs.attempts.size(); ++i) {
      if (obs.attempts[i].outcome == Outcome::answered) continue;
      ++failed;
      ++tries[truth->attempts[i].cause];
    }
  }
  // Repeats are of healthy exchanges only.
  void again(std::span<const ExchangeObs> /*models*/, std::span<const Repeat> /*repeats*/) override {}
  [[nodiscard]] std::uint64_t whole_from() const override { return ~std::uint64_t{0}; }
};

TryCount run(const std::string& name) {
  const Scenario scenario = shipped_scenario("mechanisms/" + name);
  CHECK(scenario.chain.name == name);
  const Protocol protocol(scenario.bus);
  TryCount count;
  Chain chain(protocol, scenario.chain, scenario.chain.seed, Way::repeats, Seat::simulated, count);
  REQUIRE(chain.run_until(scenario.chain.run_for));
  chain.finish({});
  return count;
}

}  // namespace

TEST_CASE("each scenario of a mechanism loses replies by it alone, and mended it loses a tenth of that at most") {
  const std::map<std::string, std::set<Cause>> causes{
      {"bit-noise", {Cause::bit_noise}},
      {"bursts", {Cause::burst}},
      {"contact", {Cause::contact}},
      {"cable", {Cause::cable_open}},
      {"room", {Cause::short_buffer}},
      {"measurement", {Cause::measuring}},
      {"settling", {Cause::measuring}},
      {"measured-bleeding", {Cause::bleeding}},
      {"busy-node", {Cause::not_fetched}},
      {"busy-bleeding", {Cause::busy_node}},
      {"watchdog", {Cause::watchdog}},
      {"wake-up", {Cause::asleep}},
      {"controller", {Cause::controller_busy}},
      {"clock-wrap", {Cause::clock_wrap}},
      {"pulse-width", {Cause::pulse_width}},
      {"clock", {Cause::clock}},
      {"supply", {Cause::brown_out}},
      {"charger", {Cause::charger}},
      {"bleed-edges", {Cause::bleed_edge}},
  };
  std::set<std::string> files{"healthy"};
  for (const auto& [name, expected] : causes) {
    INFO(name);
    files.insert(name);
    files.insert(name + "-mended");
    const TryCount bad = run(name);
    CHECK(bad.failed >= 15);
    for (const auto& [cause, count] : bad.tries) {
      INFO(name_of(cause) << " " << count);
      CHECK(expected.count(cause) == 1);
    }
    // The mildest of them, a tenth of the edges, leaves a tenth of the failures.
    CHECK(run(name + "-mended").failed <= bad.failed / 8);
  }
  CHECK(run("healthy").failed == 0);
  std::set<std::string> there;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) there.insert(entry.path().stem().string());
  CHECK(there == files);
}

}  // namespace hopbench
