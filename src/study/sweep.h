// A sweep: one scenario with some of its fields varied over a grid of values, each point of the grid run with several
// seeds. Runs have numbers: points in the order of the grid (the last field varies fastest), and seeds within a point.
// What comes of it depends neither on how many threads there are nor on where which run was made.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "base/time.h"
#include "seen/reality.h"
#include "study/in_seat.h"
#include "study/sweep_run.h"
#include "study/sweep_share.h"
#include "text/scenario.h"
#include "text/vary.h"
#include "work/workers.h"

namespace hopbench {

inline constexpr std::size_t most_sweep_runs = 100'000;

struct SweepPlan {
  std::string scenario;  // its name
  std::vector<Vary> varied;
  std::uint64_t first_seed = 1;
  std::uint64_t seeds = 1;
  Nanos span = 0;  // of each run; 0: as its scenario says, or `otherwise`
  Nanos otherwise = 0;
  std::string controller;  // the real one, as it was named; empty: the scenario's own
  InSeat in_seat;          // runs with it

  /// One line if it cannot be: nothing varied or one path twice, no seeds or too large ones, too many runs. All else is
  /// for plans without a fault.
  [[nodiscard]] std::optional<std::string> fault() const;
  [[nodiscard]] std::size_t points() const;
  [[nodiscard]] std::size_t runs() const { return points() * static_cast<std::size_t>(seeds); }
  [[nodiscard]] std::size_t point_of(std::size_t run) const { return run / static_cast<std::size_t>(seeds); }
  [[nodiscard]] std::uint64_t seed_of(std::size_t run) const { return first_seed + run % seeds; }
  [[nodiscard]] Reality reality() const { return controller.empty() ? Reality::simulated : Reality::simulated_chain; }
  /// The values at a point, one for each varied field.
  [[nodiscard]] std::vector<std::string> values_at(std::size_t point) const;
};

/// The scenario at a point, or one line why there is none.
std::variant<Scenario, std::string> scenario_at(const Scenario& base, const SweepPlan& plan, std::size_t point,
                                                const BusFinder& buses);

/// One run of a sweep, from its number. The only place where a sweep makes a run. None if `stop`, asked often, said so,
/// or if the controller did not go on to the end.
std::optional<SweepRun> make_sweep_run(const Scenario& base, const SweepPlan& plan, std::size_t run,
                                       const BusFinder& buses, const std::function<bool()>& stop);

/// Why no point of the grid can be run: what is wrong with the first one. None if one can, or after a stop.
std::optional<std::string> all_impossible(const Scenario& base, const SweepPlan& plan, const BusFinder& buses,
                                          Workers& workers, const std::function<bool()>& stop);

/// What the runs of one point come to together.
struct SweepRow {
  std::size_t point = 0;
  std::vector<std::string> values;
  std::uint64_t runs = 0;         // that were made, of plan.seeds
  std::uint64_t failed_runs = 0;  // of those: in which an exchange failed
  SweepEnd end = SweepEnd::done;  // the worst of them
  std::string why;                // impossible
  Nanos covered = 0;              // of all runs
  std::uint64_t asked = 0;
  std::uint64_t failed = 0;
  SweepShare share;  // that failed
  std::uint64_t tries = 0;
  std::array<std::uint64_t, outcome_count> outcomes{};
  std::optional<Nanos> median;  // of the round trips
  std::optional<Nanos> within_99;
  std::optional<Nanos> longest;
  std::uint64_t longest_burst = 0;  // exchanges that failed one after another
  std::optional<SweepUnseen> unseen;
  std::uint64_t unseen_seed = 0;
  std::vector<std::pair<Cause, std::uint64_t>> causes;  // of tries that came to nothing; by number
};

struct Sweep {
  SweepPlan plan;
  std::size_t runs = 0;        // that were made
  std::vector<SweepRow> rows;  // of the points with any run, in the order of the grid

  /// Points without a single run: of a sweep that was interrupted, or of shards that are not put together yet.
  [[nodiscard]] std::vector<std::size_t> points_not_run() const;
};

/// Joins what there is. `result` gives a run by its number, or nothing; it is asked once for each, in order.
Sweep joined_sweep(const SweepPlan& plan, const std::function<std::optional<SweepRun>(std::size_t)>& result);

}  // namespace hopbench
