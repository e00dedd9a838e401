// Small scenarios as text, for studies. All figures are invented.
#pragma once

#include <string>

#include "support/catch.h"
#include "text/scenario.h"

namespace hopbench::study_tests {

/// A ring of six nodes, paced so that a whole time-out fits: a loose contact into n3, noise into n5, and a fault that
/// loses answers of n2.
inline const std::string six_nodes = R"(
name: "six" seed: 5 run_for: "20min" bus: "bench-frame"
kind { name: "plain" cells: 4 clock { spread: "0.1%" } measurement { snapshot: "2ms" } }
nodes { name: "n" count: 6 kind: "plain" }
every_hop { isolator_delay: "1us" }
hop { into: "n3" contact { mean_between: "30s" mean_open: "200ms" } }
hop { into: "n4..n5" bit_error: "2e-5" }
fault { name: "loss" class: LOSS nodes: "n2" leg: ANSWERS rate: "2%" }
controller {
  time_out: "100ms" pace: "200ms"
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
  poll { name: "health" topic: "line_health" nodes: ["n1..n6"] every: 4 }
}
)";

inline Scenario loaded(const std::string& text) {
  std::vector<Problem> problems;
  auto scenario = load_scenario({"test", text}, buses_beside("test"), problems);
  for (const auto& problem : problems) UNSCOPED_INFO(render(problem));
  REQUIRE(scenario);
  return *scenario;
}

}  // namespace hopbench::study_tests
