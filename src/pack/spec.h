// The battery, the boards on it and the air around them, as data. Integers throughout: currents in mA, voltages in uV,
// resistances in uOhm (a bleed resistor in mOhm), temperatures in thousandths of a degree Celsius, spans in ns.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/time.h"

namespace hopbench {

/// A tap that is worse than the others. Taps lead from the cells to their board, one more than there are cells.
struct TapSpec {
  std::uint16_t board = 0;
  std::uint32_t cell = 0;  // below this cell; the number of cells: above the last
  std::int64_t uohm = 0;
  friend bool operator==(const TapSpec&, const TapSpec&) = default;
};

/// Cells in series. Without a battery a node's cells are levels that swing (CellLevels).
struct BatterySpec {
  bool present = false;
  std::int64_t capacity_mah = 100'000;   // of each cell
  std::int64_t capacity_spread_ppm = 0;  // uniform +-, drawn once for each cell
  std::int64_t charge_ppm = 900'000;     // state of charge at the start
  std::int64_t charge_spread_ppm = 0;    // uniform +-, drawn once for each cell
  std::int64_t cell_uohm = 300;          // inner resistance
  // In series with that a resistance and a capacitance in parallel: what lags when the current changes. Its time
  // constant is their product; 1 uOhm x 1 mF = 1 ns. 0: none
  std::int64_t polarisation_uohm = 0;
  std::int64_t polarisation_mf = 0;
  std::int64_t tap_uohm = 0;           // of each tap: contact and wire
  std::vector<TapSpec> taps;           // instead of tap_uohm
  std::int64_t leakage_ua = 0;         // of each cell, always
  std::int64_t leakage_spread_ua = 0;  // uniform +-, drawn once for each cell
  friend bool operator==(const BatterySpec&, const BatterySpec&) = default;
};

/// One charge cycle after another: a load for a while, then the charger: constant current until some cell reaches
/// absorb_uv, from then on just so much that none goes above it, until the current has fallen to done_ma.
struct CycleSpec {
  Nanos period = 86'400 * second;
  std::int64_t load_ma = 0;
  Nanos load_from = 0;  // within the period
  Nanos load_for = 0;
  std::int64_t charge_ma = 0;
  Nanos charge_from = 0;
  Nanos charge_for = 0;  // at most
  std::int64_t absorb_uv = 3'550'000;
  std::int64_t done_ma = 0;
  friend bool operator==(const CycleSpec&, const CycleSpec&) = default;
};

/// The air around the boards: a mean and a daily swing, warmest at `warmest` within the day.
struct AirSpec {
  std::int64_t mean_mc = 25'000;
  std::int64_t swing_mc = 0;  // triangle, +- around the mean
  Nanos warmest = 50'400 * second;
  friend bool operator==(const AirSpec&, const AirSpec&) = default;
};

/// What a kind of node does to its cells and what they do to it.
struct BoardSpec {
  std::int64_t bleed_mohm = 0;              // resistor of each cell's bleed; 0: the kind cannot bleed
  std::int64_t bleed_duty_ppm = 1'000'000;  // share of the time that a bleed is closed while it is on
  Nanos chop_period = 0;                    // from closing to closing; 0: not chopped
  std::int64_t idle_uw = 0;                 // power of the board itself
  std::int64_t rise_mk_per_w = 0;           // board-wide, at rest
  Nanos heat_time = 300 * second;           // time constant of that
  std::int64_t hot_spot_mk_per_w = 0;       // of a bleeding resistor over its board, per W of that resistor, at once
  std::int64_t bleed_stop_mc = 0;   // all its bleeds stop when its hottest resistor is as warm as this; 0: never
  std::int64_t bleed_again_mc = 0;  // and are allowed again when the board is below this
  // Supply, from the cells that it watches: the sum of their voltages less what its taps lose.
  std::int64_t supply_ma = 0;     // the board's own current; discharges its cells, too
  std::int64_t inrush_ma = 0;     // on top of that while it starts; too short to discharge anything
  std::int64_t brown_out_uv = 0;  // below this supply it falls silent; 0: never
  std::int64_t brown_in_uv = 0;   // and starts again at this
  // Clock, on top of its error and trim.
  std::int64_t clock_ppb_per_k = 0;  // from 25 degrees Celsius on, by the board's temperature
  std::int64_t clock_ppb_per_v = 0;  // from clock_at_uv on
  std::int64_t clock_at_uv = 0;
  std::int64_t clock_step_ppb = 0;  // the clock is told in steps of this, toward zero; 0: 1000
  friend bool operator==(const BoardSpec&, const BoardSpec&) = default;
};

struct PackSpec {
  BatterySpec battery;
  CycleSpec cycle;
  AirSpec air;
  friend bool operator==(const PackSpec&, const PackSpec&) = default;
};

/// When its clock begins, and how.
struct PackStart {
  Nanos at = 0;          // a multiple of Pack::step
  bool charged = false;  // the charge of the period that it falls into is over
};

/// One board: a node, as the pack sees it.
struct BoardInfo {
  std::string name;  // names its cells' luck
  std::uint32_t cells = 1;
  std::int64_t level_uv = 3'300'000;  // of each cell, without a battery
  BoardSpec spec;
  // What it starts with, if that is known; otherwise what is drawn, and what the air makes of it.
  std::vector<std::int64_t> charge_ppm;  // by cell, or empty
  std::optional<std::int32_t> board_mc;
};

}  // namespace hopbench
