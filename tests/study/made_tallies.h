// Made-up counts of a chain of two nodes, for comparisons.
#pragma once

#include "study/tallies.h"

namespace hopbench::study_tests {

inline constexpr double tries = 1000;  // of each of two nodes in a cycle

struct Made {
  Tallies tallies;

  explicit Made(std::size_t cycles) {
    tallies.run.scenario = "made up";
    tallies.run.nodes = {"a", "b"};
    tallies.run.links = {{1, "controller", "a"}, {2, "a", "b"}, {3, "b", "controller"}};
    tallies.topics = {"readings"};
    tallies.cycles_begun = static_cast<std::uint32_t>(cycles);
    tallies.block_span = second;
    for (std::size_t i = 0; i < cycles; ++i) cycle(0, 0);
  }

  void cycle(double failures_a, double failures_b, std::size_t balancing = 3) {
    Cluster one;
    one.exchanges = one.tries = {failures_a + failures_b, 2 * tries};
    one.nodes = {{failures_a, tries}, {failures_b, tries}};
    one.topics = {one.tries};
    one.links = {{failures_a, 2 * tries}, {failures_b, 2 * tries}, {0, 2 * tries}};
    one.balancing[balancing] = one.tries;
    one.round_trips.add(5 * millisecond, static_cast<std::uint64_t>(2 * tries));
    tallies.all.links.resize(3);
    tallies.all.nodes.resize(2);
    tallies.all.topics.resize(1);
    tallies.all.add(one);
    tallies.cycles.push_back(one);
  }
};

}  // namespace hopbench::study_tests
