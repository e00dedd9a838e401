// A good scenario to spoil, and what comes of loading a text.
#pragma once

#include <string>
#include <vector>

#include "support/catch.h"
#include "text/bus.h"
#include "text/scenario.h"

namespace hopbench::bench {

/// Good; the tests put their lines in place of a piece of it, so the places of what they spoil are easy to count.
inline const std::string good =
    "name: \"t\"\n"                                               // 1
    "bus: \"bench-frame\"\n"                                      // 2
    "kind { name: \"single\" }\n"                                 // 3
    "nodes { name: \"a\" count: 3 kind: \"single\" }\n"           // 4
    "every_hop { bit_error: \"1e-6\" }\n"                         // 5
    "fault { name: \"f\" class: LOSS rate: \"1%\" }\n"            // 6
    "controller {\n"                                              // 7
    "  time_out: \"200ms\"\n"                                     // 8
    "  poll { name: \"p\" topic: \"nameplate\" nodes: \"*\" }\n"  // 9
    "}\n";                                                        // 10

/// The good scenario with `old_piece` replaced.
inline std::string spoilt(const std::string& old_piece, const std::string& new_piece) {
  std::string text = good;
  const std::size_t at = text.find(old_piece);
  REQUIRE(at != std::string::npos);
  return text.replace(at, old_piece.size(), new_piece);
}

struct Loaded {
  std::optional<Scenario> scenario;
  std::vector<Problem> problems;
  std::string shown;  // all problems as the user sees them
};

inline Loaded load(const std::string& text) {
  Loaded result;
  const TextFile file{"s.txtpb", text};
  result.scenario = load_scenario(file, buses_beside(file.name), result.problems);
  for (const Problem& problem : result.problems) result.shown += render(problem, file);
  return result;
}

inline Scenario load_good(const std::string& text) {
  Loaded loaded = load(text);
  INFO(loaded.shown);
  REQUIRE(loaded.scenario);
  REQUIRE(!has_errors(loaded.problems));
  return *loaded.scenario;
}

}  // namespace hopbench::bench
