// The circuit of one board: its cells in series, the taps that lead from them to the board, its bleed resistors, its
// own current. A tap between two cells belongs to both: while both are bled it carries only the difference of their
// currents.
//
//   above the last cell ---- tap n ----+---- own current, out
//        cell n - 1                  bleed n - 1
//           ...      ---- tap n-1 ----+
//        cell 0                      bleed 0
//   below the first cell --- tap 0 ----+---- own current, back
//
// Kirchhoff's laws give one equation for each bleed that is closed; they are solved exactly but for rounding.
#pragma once

#include <cstdint>
#include <span>

namespace hopbench {

struct BoardCircuit {
  static constexpr std::uint32_t most_cells = 32;

  std::span<const std::int64_t> tap_uohm;  // one more than there are cells, from below the first one on
  std::int64_t cell_uohm = 0;
  std::int64_t bleed_uohm = 0;  // of each; 0: there are none
  std::int64_t own_ua = 0;      // that the board draws

  /// Current through each closed bleed, in uA; 0 of the others. `rest_uv`: of each cell at its terminals, nothing being
  /// bled. `closed`: a bit for each cell. Never negative: taps that lose more than a cell has leave nothing.
  void bled_ua(std::span<const std::int64_t> rest_uv, std::uint32_t closed, std::span<std::int64_t> ua) const;
  /// What the board sees of a cell, between its two taps; may be negative where a tap loses more than the cell has.
  [[nodiscard]] std::int64_t seen_uv(std::span<const std::int64_t> rest_uv, std::span<const std::int64_t> bled_ua,
                                     std::uint32_t cell) const;
};

}  // namespace hopbench
