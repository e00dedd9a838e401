#include "seen/reality.h"

#include <set>

#include "support/catch.h"

using namespace hopbench;

namespace {

/// A ring of one node, of which the links were seen so.
RunInfo run_of(bool simulated, bool truth_known, Vantage out, Vantage home) {
  RunInfo run;
  run.simulated = simulated;
  run.truth_known = truth_known;
  run.nodes = {"a"};
  run.links = {{1, "controller", "a", false, out}, {2, "a", "controller", false, home}};
  return run;
}

}  // namespace

TEST_CASE("what was real is told from the run") {
  CHECK(reality_of(RunInfo{}) == Reality::simulated);
  CHECK(reality_of(run_of(true, true, Vantage::simulated, Vantage::simulated)) == Reality::simulated);
  // In virtual time everything is simulated, whatever somebody else would have seen of it.
  CHECK(reality_of(run_of(true, false, Vantage::unseen, Vantage::at_port)) == Reality::simulated);
}

TEST_CASE("with a port in it, one simulated hop makes it a simulated chain, and so does knowing why frames died") {
  CHECK(reality_of(run_of(false, false, Vantage::at_port, Vantage::simulated)) == Reality::simulated_chain);
  // A chain of one node: both its hops end at the port.
  CHECK(reality_of(run_of(false, true, Vantage::at_port, Vantage::at_port)) == Reality::simulated_chain);
  for (const auto vantage : {Vantage::unseen, Vantage::tapped, Vantage::at_port, Vantage::reported}) {
    CHECK(reality_of(run_of(false, false, Vantage::at_port, vantage)) == Reality::real_chain);
  }
}

TEST_CASE("each has words of its own, and only a real chain goes without the caution") {
  std::set<std::string_view> words;
  for (const auto reality : {Reality::simulated, Reality::simulated_chain, Reality::real_chain}) {
    CHECK(words.insert(name_of(reality)).second);
    CHECK(words.insert(at_top(reality)).second);
    CHECK(in_passing(reality).substr(1) == at_top(reality).substr(1));
    CHECK(in_passing(reality).starts_with(in_short(reality)));
    CHECK(anything_simulated(reality) == (reality != Reality::real_chain));
    CHECK(anything_simulated(reality) != caution_of(reality).empty());
    CHECK(anything_simulated(reality) == (in_short(reality).find("simulated") != std::string_view::npos));
  }
  // Who quotes a result quotes these.
  CHECK(at_top(Reality::simulated) == "Simulated");
  CHECK(at_top(Reality::simulated_chain) == "Simulated chain, real controller");
  CHECK(at_top(Reality::real_chain) == "Real chain");
}
