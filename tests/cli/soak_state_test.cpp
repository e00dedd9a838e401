// The state file of a soak test, damaged in every way.
#include "cli/soak_state.h"

#include <algorithm>
#include <string>

#include "chain/chain.h"
#include "program.h"
#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace fuzz {
const Scenario& soaked();                           // tools/fuzz/soak_state.cpp
bool take_up(std::span<const std::uint8_t> input);  // the same
}  // namespace fuzz

namespace {

using Bytes = std::vector<std::uint8_t>;

/// Of a soak that has come some way.
Bytes good_state(bool at_port) {
  SoakJob job(fuzz::soaked(), 1'000'000);
  Soak soak(job.scenario.requirements, job.start, job.until, cycle_of(job.scenario.chain));
  const Protocol protocol(job.scenario.bus);
  Chain chain(protocol, job.scenario.chain, job.scenario.chain.seed, Way::repeats, Seat::simulated, soak.sink());
  while (chain.now() < 26 * 3600 * second) {
    REQUIRE(chain.run_until(soak.next_border()));
    soak.pass_border();
  }
  REQUIRE(chain.run_until_quiet(chain.now() + 60 * second));
  if (at_port) {
    job.at_port.port.pty = "/bench/port";
    job.at_port.port.time_out = "500ms";
    job.at_port.at = chain.now();
    job.at_port.standing = chain.standing();
    job.at_port.standing.nodes = {{0, {500'000, 600'000}, 25'000}};
  } else {
    std::string why;
    job.state = chain.save(why);
  }
  return soak_state(job, soak, 3);
}

/// Without head and check.
Bytes inside(const Bytes& state) { return {state.begin() + 24, state.end() - 8}; }

Bytes with(std::uint8_t first, const Bytes& bytes) {
  Bytes input{first};
  input.insert(input.end(), bytes.begin(), bytes.end());
  return input;
}

}  // namespace

TEST_CASE("a state of a soak that was damaged anywhere is refused", "[soak_state]") {
  for (const bool at_port : {false, true}) {
    const Bytes good = good_state(at_port);
    REQUIRE(fuzz::take_up(with(0, good)));
    REQUIRE(fuzz::take_up(with(1, inside(good))));
    Bytes bytes = with(0, good);
    for (std::size_t at = 1; at < bytes.size(); ++at) {
      for (const std::uint8_t turned : Bytes{0x01, 0x80, 0xFF}) {
        bytes[at] = static_cast<std::uint8_t>(bytes[at] ^ turned);
        REQUIRE_FALSE(fuzz::take_up(bytes));
        bytes[at] = static_cast<std::uint8_t>(bytes[at] ^ turned);
      }
    }
    for (std::size_t size = 0; size < bytes.size(); ++size) REQUIRE_FALSE(fuzz::take_up(std::span(bytes).first(size)));
  }
}

TEST_CASE("made-up values in a state of a soak are refused or do no harm", "[soak_state]") {
  std::size_t taken = 0;
  std::size_t refused = 0;
  for (const bool at_port : {false, true}) {
    const Bytes good = with(1, inside(good_state(at_port)));
    for (std::size_t size = 0; size < good.size(); size += 7) REQUIRE_FALSE(fuzz::take_up(std::span(good).first(size)));
    Dice dice("soak state", at_port ? 1 : 0);
    for (int i = 0; i < 3000; ++i) {
      Bytes bytes = good;
      for (std::uint64_t n = 1 + dice.up_to(3); n > 0; --n) {
        // Most of it is the chain's; what is the soak's comes before and after.
        const std::size_t near = dice.one_in(2) ? dice.up_to(bytes.size() - 2) : dice.up_to(300);
        std::uint8_t& byte = bytes[1 + (dice.one_in(2) ? near : bytes.size() - 2 - near)];
        byte = dice.one_in(2) ? static_cast<std::uint8_t>(byte ^ (1U << dice.up_to(7)))
                              : static_cast<std::uint8_t>(dice.up_to(255));
      }
      ++(fuzz::take_up(bytes) ? taken : refused);
    }
    Bytes noise(1 + dice.up_to(2000));
    for (int i = 0; i < 300; ++i) {
      for (std::uint8_t& byte : noise) byte = static_cast<std::uint8_t>(dice.up_to(255));
      CHECK_FALSE(fuzz::take_up(noise));
    }
  }
  CHECK(taken > 100);
  CHECK(refused > 1000);
}

TEST_CASE("a state of another version, or of a chain alone, is refused in one line", "[soak_state]") {
  const Bytes good = good_state(false);
  SoakJob job(fuzz::soaked(), 0);
  Soak soak(job.scenario.requirements, job.start, job.until, 0);
  std::uint32_t next = 1;
  StateKind later = state_of_soak;
  ++later.version;
  CHECK(take_up_soak(wrap_state(later, head_of(job), inside(good)), job, soak, next) ==
        "the saved state is of version 2, this program reads version 1");
  CHECK(take_up_soak(wrap_state(state_of_chain, head_of(job), inside(good)), job, soak, next) == "no saved state");
}

}  // namespace hopbench
