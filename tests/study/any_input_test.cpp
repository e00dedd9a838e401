// Whatever a capture may hold: no crash, no overflow, and the same answer each time.
#include "../measure/sample_run.h"
#include "planted.h"
#include "study/evidence_fold.h"
#include "study/explanation.h"
#include "study/specimens.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

/// States with anything in them between the events of a wild run.
void tell_with_states(const sample::Run& run, std::uint64_t seed, Sink& sink) {
  sample::Dice dice(seed ^ 0x51a7e5U);
  sink.begin(run.info);
  std::vector<NodeState> nodes;
  for (std::size_t i = 0; i < run.events.size(); ++i) {
    if (dice.chance(3)) {
      nodes.resize(dice.below(run.info.nodes.size() + 3));
      for (auto& node : nodes) {
        node = {static_cast<std::int32_t>(dice.next()), static_cast<std::int32_t>(dice.next()),
                static_cast<std::int32_t>(dice.next()), static_cast<std::uint32_t>(dice.next())};
      }
      State state;
      state.at = dice.instant();
      state.cells_balancing = static_cast<std::uint32_t>(dice.next());
      state.charge_ma = static_cast<std::int32_t>(dice.next());
      state.nodes = nodes;
      sink.state(state);
    }
    run.tell_event(i, sink);
  }
  sink.end(dice.instant(), run.lateness);
}

}  // namespace

TEST_CASE("explain takes any observations, and says the same of the same ones") {
  for (std::uint64_t seed = 1; seed <= 40; ++seed) {
    CAPTURE(seed);
    const auto run = sample::wild_run(seed, 300);
    EvidenceFold first;
    SpecimenFold first_kept(first);
    Observed first_door(first_kept);
    tell_with_states(run, seed, first_door);
    EvidenceFold second;
    SpecimenFold second_kept(second);
    AtController shut(second_kept, nullptr);
    Observed second_door(shut);
    tell_with_states(run, seed, second_door);
    EvidenceFold third;
    SpecimenFold third_kept(third);
    Observed third_door(third_kept);
    tell_with_states(run, seed, third_door);
    const auto one = explain(first.evidence(), Reality::simulated, nullptr, {&first_kept, &planted::bench_bus()});
    const auto again = explain(third.evidence(), Reality::simulated, nullptr, {&third_kept, &planted::bench_bus()});
    CHECK(one.headline == again.headline);
    REQUIRE(one.cases.size() == again.cases.size());
    for (std::size_t i = 0; i < one.cases.size(); ++i) {
      CHECK(one.cases[i].verdict == again.cases[i].verdict);
      CHECK(one.cases[i].common == again.cases[i].common);
    }
    CHECK(explain(second.evidence(), Reality::simulated, nullptr, {&second_kept, nullptr}).where.hops.empty());
  }
}

TEST_CASE("a capture without a single exchange is explained as one in which nothing failed") {
  EvidenceFold fold;
  fold.begin(sample::ring(3));
  fold.end(second);
  const auto explanation = explain(fold.evidence(), Reality::simulated);
  CHECK(explanation.cases.empty());
  CHECK(explanation.where.hops.empty());
}
