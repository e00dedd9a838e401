#include "pack/open_circuit.h"

namespace hopbench {
namespace {

constexpr std::int64_t steps = open_circuit_steps;

struct Piece {
  std::int64_t from;
  std::int64_t to;
  std::size_t entry;
};
constexpr Piece pieces[] = {
    {0, full_charge / 20, 0},
    {full_charge / 20, full_charge / 20 * 19, steps},
    {full_charge / 20 * 19, full_charge, 2 * steps},
};

}  // namespace

std::int64_t open_circuit_uv(std::int64_t charge) {
  if (charge <= 0) return open_circuit_table.front();
  const Piece& piece = charge < pieces[0].to ? pieces[0] : charge < pieces[1].to ? pieces[1] : pieces[2];
  const std::int64_t span = piece.to - piece.from;
  const std::int64_t scaled = (charge - piece.from) * steps;
  std::int64_t step = scaled / span;
  if (step >= steps) step = steps - 1;  // above full: on with the last step's slope
  const std::int64_t low = open_circuit_table[piece.entry + static_cast<std::size_t>(step)];
  const std::int64_t high = open_circuit_table[piece.entry + static_cast<std::size_t>(step) + 1];
  return low + static_cast<std::int64_t>(static_cast<__int128>(high - low) * (scaled - step * span) / span);
}

}  // namespace hopbench
