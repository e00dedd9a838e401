// One run of a sweep, and what it comes to: small, and as bytes, so that a folder can keep it.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "measure/measures.h"
#include "study/in_seat.h"
#include "text/scenario.h"

namespace hopbench {

/// The cell that went without a reading for the longest time.
struct SweepUnseen {
  std::string node;
  std::uint32_t cell = 0;
  bool never = false;  // no reading of it came at all; `span` is the length of the run then
  Nanos span = 0;
  Nanos from = 0;
};

enum class SweepEnd : std::uint8_t {
  done,
  impossible,  // the scenario with these values is none that can be run
  stuck,       // the chain goes round without time passing
};

/// What of a run can be joined with those of other seeds.
struct SweepRun {
  SweepEnd end = SweepEnd::done;
  std::string why;                          // impossible: one line
  Measures measures;                        // `all`, `bursts` and the time covered only
  std::array<std::uint64_t, 256> causes{};  // tries that came to nothing, by Cause
  std::optional<SweepUnseen> unseen;        // none if nothing that is asked tells of a cell

  [[nodiscard]] std::vector<std::uint8_t> bytes() const;
  /// None for anything that bytes() did not write.
  static std::optional<SweepRun> parse(std::span<const std::uint8_t> bytes);
};

/// The run itself, in virtual time, as long as `span`, with the scenario's own controller or with `in_seat`. None if
/// `stop`, asked often, said so, or if who sits in the controller's seat did not go on to the end.
std::optional<SweepRun> sweep_run(const Scenario& scenario, std::uint64_t seed, Nanos span, const InSeat& in_seat,
                                  const std::function<bool()>& stop);

/// A point that cannot be run.
SweepRun impossible_run(std::string why);

}  // namespace hopbench
