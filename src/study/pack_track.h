// The battery of a simulated run as it was, worked out again along its capture: the same pack, from the scenario and
// the seed, and bled as the capture's states say. Good for as long as the capture tells of all of them.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "pack/pack.h"
#include "scenario/description.h"
#include "seen/observation.h"
#include "stations/values.h"

namespace hopbench {

class PackTrack {
 public:
  /// `chain` as it ran, without what was left out of it; `seed`: of the run.
  PackTrack(const ChainDescription& chain, std::uint64_t seed);

  /// Conditions that were told, in their order.
  void state(const State& state);
  /// Goes on to what holds at `at`; back never.
  void go_to(Nanos at);
  /// From here on nothing is known any more; the first reason stays.
  void lose(const std::string& why) {
    if (lost_.empty()) lost_ = why;
  }
  /// Why nothing is known; empty: all is.
  [[nodiscard]] const std::string& lost() const { return lost_; }

  /// Voltage at the terminals, nothing being bled, and state of charge, as of the last go_to(). None if that is not
  /// known, or there is no such thing: without a battery there is no charge.
  [[nodiscard]] std::optional<std::int64_t> cell_uv(std::size_t node, std::uint32_t cell) const;
  [[nodiscard]] std::optional<std::int64_t> charge_ppm(std::size_t node, std::uint32_t cell) const;

 private:
  bool battery_;
  bool moves_;
  Pack pack_;
  std::vector<CellValues> levels_;  // by node
  std::vector<std::uint32_t> cells_;
  std::vector<std::uint32_t> bleeding_;
  std::vector<bool> nobody_starts_;
  Nanos at_ = 0;
  std::string lost_;
};

}  // namespace hopbench
