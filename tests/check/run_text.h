// A scenario text, loaded and run.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "chain/chain.h"
#include "support/collector.h"
#include "text/scenario.h"

namespace hopbench {

/// Numbers of scenarios to look at: HOPBENCH_FIRST_SCENARIO and HOPBENCH_SCENARIOS, or these.
struct Numbers {
  std::uint64_t first = 0;
  std::uint64_t beyond = 0;
};
Numbers numbers_to_try(std::uint64_t otherwise);

struct LoadedText {
  std::optional<Scenario> scenario;
  std::vector<Problem> problems;

  [[nodiscard]] bool silent() const { return scenario && problems.empty(); }
  /// All problems as the user sees them.
  [[nodiscard]] std::string shown() const;
};
LoadedText load_text(const std::string& text);
/// As if it had been run before.
LoadedText load_text_as_recorded(const std::string& text);

Collector run(const Scenario& scenario, Way way, std::uint64_t exchanges);
/// The first thing in which two runs differ; empty if nothing does.
std::string difference(const Collector& one, const Collector& other);

}  // namespace hopbench
