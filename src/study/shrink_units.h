// A scenario as a list of things that can be left out of it, one by one or many together, and written down again. What
// stays keeps its names and addresses, and with them its luck.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "base/time.h"
#include "text/scenario.h"

namespace hopbench {

class ShrinkUnits {
 public:
  /// `loaded` was loaded from its text. Its nodes are taken apart from one another, its ranges of names are spelled
  /// out, and a bus that it names by a path is put into it.
  ShrinkUnits(const Scenario& loaded, std::uint64_t seed);
  ~ShrinkUnits();
  ShrinkUnits(const ShrinkUnits&) = delete;
  ShrinkUnits& operator=(const ShrinkUnits&) = delete;

  [[nodiscard]] std::size_t size() const;
  /// A few words: "node a7", "fault b3-slow", "hop into b1: burst", "kind single: clock".
  [[nodiscard]] const std::string& name(std::size_t unit) const;
  /// It is of what the run begins with, without which it may take longer.
  [[nodiscard]] bool of_start(std::size_t unit) const;
  /// The scenario with the units for which `kept` is true; what nothing refers to any more is left out too. It need not
  /// be a good one: load_scenario() tells.
  [[nodiscard]] std::string text(const std::vector<bool>& kept, Nanos run_for) const;
  /// Which units the scenario with `kept` still says anything of: those that went along with others are not kept.
  [[nodiscard]] std::vector<bool> still_there(const std::vector<bool>& kept, Nanos run_for) const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// The text of a scenario that begins so; nodes of `start` are those of `loaded`.
std::string with_start(const Scenario& loaded, const StartSpec& start);

}  // namespace hopbench
