#include "stations/balancer.h"

#include "support/catch.h"

using namespace hopbench;

namespace {

BalancingSpec rule() {
  BalancingSpec spec;
  spec.every = 60 * second;
  spec.start_uv = 3'400'000;
  spec.difference_uv = 10'000;
  spec.hysteresis_uv = 5'000;
  return spec;
}

using Nodes = std::vector<std::uint16_t>;

}  // namespace

TEST_CASE("cells high enough and far enough above the lowest are bled, until they are near enough") {
  Balancer balancer(rule(), {1, 4});
  balancer.read(0, 0, 3'405'000, second);
  balancer.read(1, 0, 3'415'000, second);  // just enough
  balancer.read(1, 1, 3'414'999, second);
  balancer.read(1, 2, 3'450'000, second);
  CHECK(balancer.look(2 * second) == Nodes{1});  // cell 3 has not been read, and counts for nothing
  CHECK(balancer.wanted(1) == 0b0101);
  CHECK(balancer.wanted(0) == 0);
  balancer.told(1, 0b0101, 2 * second);
  CHECK(balancer.look(3 * second).empty());
  // A bled cell goes on until it is 5 mV from the lowest; one that is not bled waits for 10 mV.
  balancer.read(1, 0, 3'410'000, 4 * second);
  balancer.read(1, 1, 3'410'000, 4 * second);
  CHECK(balancer.look(4 * second).empty());
  balancer.read(1, 0, 3'409'999, 5 * second);
  CHECK(balancer.look(5 * second) == Nodes{1});
  CHECK(balancer.wanted(1) == 0b0100);
}

TEST_CASE("below the start voltage nothing is bled, however far apart") {
  Balancer balancer(rule(), {2});
  balancer.read(0, 0, 3'399'999, 0);
  balancer.read(0, 1, 3'000'000, 0);
  CHECK(balancer.look(0).empty());
  balancer.read(0, 0, 3'400'000, 1);
  CHECK(balancer.look(1) == Nodes{0});
}

TEST_CASE("of more cells than may be bled at once the highest are") {
  BalancingSpec spec = rule();
  spec.at_once = 2;
  Balancer balancer(spec, {4, 1});
  balancer.read(1, 0, 3'400'000, 0);
  for (std::uint32_t cell = 0; cell < 4; ++cell) balancer.read(0, cell, 3'420'000 + 1'000 * cell, 0);
  CHECK(balancer.look(0) == Nodes{0});
  CHECK(balancer.wanted(0) == 0b1100);
}

TEST_CASE("a node that did not acknowledge is told again, and one that did after a while") {
  BalancingSpec spec = rule();
  spec.repeat_after = 300 * second;
  Balancer balancer(spec, {2});
  balancer.read(0, 0, 3'400'000, 0);
  balancer.read(0, 1, 3'450'000, 0);
  CHECK(balancer.look(0) == Nodes{0});
  CHECK(balancer.look(60 * second) == Nodes{0});
  balancer.told(0, 0b10, 60 * second);
  CHECK(balancer.look(120 * second).empty());
  CHECK(balancer.look(360 * second) == Nodes{0});
}

TEST_CASE("between two spells of bleeding nothing is bled, and what was read too long ago is forgotten") {
  BalancingSpec spec = rule();
  spec.on_for = 50 * second;
  spec.off_for = 10 * second;
  spec.forget_after = 100 * second;
  Balancer balancer(spec, {2});
  balancer.read(0, 0, 3'400'000, 0);
  balancer.read(0, 1, 3'450'000, 0);
  CHECK(balancer.look(49 * second) == Nodes{0});
  balancer.told(0, 0b10, 49 * second);
  CHECK(balancer.look(50 * second) == Nodes{0});
  CHECK(balancer.wanted(0) == 0);
  balancer.told(0, 0, 50 * second);
  CHECK(balancer.look(60 * second) == Nodes{0});
  balancer.told(0, 0b10, 60 * second);
  // An older reading does not take the place of a newer one.
  balancer.read(0, 1, 3'000'000, -1);
  CHECK(balancer.look(100 * second).empty());
  CHECK(balancer.look(101 * second) == Nodes{0});
  CHECK(balancer.wanted(0) == 0);
}
