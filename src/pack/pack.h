// The battery and its boards over time, on a fixed grid: everything is constant from one grid point to the next, so
// that any way of running sees the same. Integer state; no chance but what was drawn once by name.
//
// At grid point k the state for [k, k + 1) follows from the state before it and from what was bled at that point;
// nothing else goes in. A step that would change nothing leaves the state as it is.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "base/luck.h"
#include "base/time.h"
#include "pack/spec.h"

namespace hopbench {

struct BoardState {
  std::int32_t board_mc = 25'000;
  std::int32_t hottest_mc = 25'000;  // its hottest resistor; the board's own if none bleeds
  std::int64_t supply_uv = 0;
  std::int32_t clock_ppb = 0;  // beside the clock's own error and trim
  bool too_hot = false;        // bleeding is stopped, with hysteresis
  bool browned_out = false;    // supply below what it needs, with hysteresis
  friend bool operator==(const BoardState&, const BoardState&) = default;
};

class Pack {
 public:
  static constexpr Nanos step = 10 * second;
  /// Voltages are remembered for this many steps: what was measured a while ago is what it was then.
  static constexpr std::size_t remembered = 32;

  Pack(const PackSpec& spec, std::vector<BoardInfo> boards, const Luck& luck, const PackStart& start);

  /// Something changes over time at all. If not, there are no grid points.
  [[nodiscard]] bool moves() const;
  /// Goes on by one step. `bleeding`: by board, a bit for each cell whose bleed is on (its duty apart) and which is not
  /// stopped for heat; holds for the step that ends now. `starting`: boards that start up in the step that begins.
  void advance(std::span<const std::uint32_t> bleeding, const std::vector<bool>& starting);

  [[nodiscard]] Nanos now() const;               // the grid point that the state holds from
  [[nodiscard]] std::int64_t charge_ma() const;  // into the battery; negative: load
  [[nodiscard]] bool charging() const;
  /// The charge of this period is over.
  [[nodiscard]] bool charged() const;
  [[nodiscard]] const BoardState& board(std::size_t board) const;
  /// Voltage of a cell at its terminals, nothing being bled, at `at`: now or within the remembered steps (the oldest
  /// one before that).
  [[nodiscard]] std::int64_t cell_uv(std::size_t board, std::uint32_t cell, Nanos at) const;
  /// By how much a bleed that is closed lowers what is measured over the cell's tap.
  [[nodiscard]] std::int64_t bleed_drop_uv(std::size_t board, std::uint32_t cell, Nanos at) const;
  [[nodiscard]] std::int64_t charge_ppm(std::size_t board, std::uint32_t cell) const;  // state of charge

 private:
  struct Cell {
    std::int64_t charge = 0;      // uA ms
    std::int64_t capacity = 1;    // uA ms
    std::int64_t unit = 1;        // capacity / 2^30
    std::int64_t most = 0;        // charge at which it stands at absorb_uv
    std::int64_t resistance = 0;  // uOhm
    std::int64_t tap = 0;         // uOhm
    std::int64_t leakage = 0;     // uA
    std::int64_t uv = 0;          // at its terminals, nothing being bled
    std::int64_t open_uv = 0;
  };
  struct Board {
    BoardInfo info;
    std::size_t first = 0;  // of its cells
    std::uint64_t heat_share = 0;
    std::int64_t heat_uc = 0;  // millionths of a degree
    BoardState state;
  };
  [[nodiscard]] static std::int64_t bled_ua(std::int64_t uv, const BoardSpec& own, const Cell& cell);
  [[nodiscard]] std::int64_t bleed_ua(const Board& board, const Cell& cell) const;
  void settle_current();
  void settle_cells();
  void settle_board(Board& board, std::uint32_t bleeding, bool starting, bool ages);
  void remember();

  PackSpec spec_;
  std::vector<Board> boards_;
  std::vector<Cell> cells_;
  std::int64_t first_;  // step at which it began
  std::int64_t steps_;  // since time 0
  std::int64_t charge_ma_ = 0;
  bool charging_ = false;
  std::int64_t done_in_period_ = -1;   // number of the period whose charge is over
  std::vector<std::int64_t> history_;  // remembered steps x cells, as a ring
};

}  // namespace hopbench
