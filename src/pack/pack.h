// The battery and its boards over time, on a fixed grid: everything is constant from one grid point to the next, so
// that any way of running sees the same. Integer state; no chance but what was drawn once by name.
//
// At grid point k the state for [k, k + 1) follows from the state before it and from what was bled at that point;
// nothing else goes in. A step that would change nothing leaves the state as it is.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "base/archive.h"
#include "base/luck.h"
#include "base/time.h"
#include "pack/board_circuit.h"
#include "pack/spec.h"

namespace hopbench {

struct BoardState {
  std::int32_t board_mc = 25'000;
  std::int32_t hottest_mc = 25'000;  // its hottest resistor; the board's own if none bleeds
  std::int64_t supply_uv = 0;
  std::int64_t string_ma = 0;  // through its cells: into the battery, negative out of it
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
  /// What its board sees of it then over its taps, which the board's own current goes through. Nothing being bled.
  [[nodiscard]] std::int64_t seen_uv(std::size_t board, std::uint32_t cell, Nanos at) const;
  /// By how much that is lower while the bleeds of `closed` are; below 0 beside a cell that is bled.
  [[nodiscard]] std::int64_t bleed_drop_uv(std::size_t board, std::uint32_t cell, std::uint32_t closed, Nanos at) const;
  [[nodiscard]] std::int64_t charge_ppm(std::size_t board, std::uint32_t cell) const;  // state of charge

  void keep(Archive& archive);

 private:
  struct Cell {
    std::int64_t charge = 0;     // uA ms
    std::int64_t capacity = 1;   // uA ms
    std::int64_t unit = 1;       // capacity / 2^30
    std::int64_t leakage = 0;    // uA
    std::int64_t own_ua = 0;     // that its board draws
    std::int64_t polarised = 0;  // pV over its polarisation branch; below 0 after a discharge
  };
  struct Board {
    BoardInfo info;
    std::size_t first = 0;      // of its cells
    std::size_t first_tap = 0;  // one more than cells
    std::uint64_t heat_share = 0;
    std::int64_t heat_uc = 0;  // millionths of a degree
    BoardState state;
  };
  using Currents = std::array<std::int64_t, BoardCircuit::most_cells>;
  [[nodiscard]] BoardCircuit circuit_of(const Board& board, std::int64_t ma) const;
  [[nodiscard]] std::span<const std::int64_t> rest_uv(const Board& board) const;
  [[nodiscard]] std::span<const std::int64_t> rest_uv(const Board& board, Nanos at) const;
  [[nodiscard]] std::int64_t uv_at(const Cell& cell, std::int64_t charge, std::int64_t polarised,
                                   std::int64_t ma) const;
  [[nodiscard]] bool minds(const Cell& cell, std::int64_t ma) const;
  [[nodiscard]] std::int64_t polarised_after(const Cell& cell, std::int64_t ua) const;
  void flow(const Board& board, std::uint32_t bleeding);
  void settle_current();
  void settle_cells();
  void settle_board(Board& board, std::uint32_t bleeding, bool starting, std::optional<std::int64_t> air);
  void remember();
  void keep_board(Archive& archive, Board& board);

  PackSpec spec_;
  std::vector<Board> boards_;
  std::vector<Cell> cells_;
  std::vector<std::int64_t> rest_uv_;   // by cell, at its terminals, nothing being bled
  std::vector<std::int64_t> tap_uohm_;  // of each board from below its first cell to above its last
  std::uint64_t polarises_ = 0;         // share of its way that a polarisation goes in one step
  std::int64_t first_;                  // step at which it began
  std::int64_t steps_;                  // since time 0
  std::int64_t charge_ma_ = 0;
  bool charging_ = false;
  std::int64_t done_in_period_ = -1;   // number of the period whose charge is over
  std::vector<std::int64_t> history_;  // remembered steps x cells, as a ring
};

}  // namespace hopbench
