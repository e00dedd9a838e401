#include "pack/board_circuit.h"

#include <algorithm>
#include <array>

namespace hopbench {
namespace {

using Wide = __int128;

// Finer than what comes out, so that sixteen roundings in a row do not show in it.
constexpr int finer_ohm = 10;
constexpr int finer_volt = 20;
constexpr int finer_ampere = finer_volt - finer_ohm;
constexpr std::int64_t uv_of_pv = 1'000'000;

}  // namespace

void BoardCircuit::bled_ua(std::span<const std::int64_t> rest_uv, std::uint32_t closed,
                           std::span<std::int64_t> ua) const {
  std::fill(ua.begin(), ua.end(), 0);
  const std::size_t cells = std::min<std::size_t>(rest_uv.size(), most_cells);
  if (bleed_uohm <= 0 || closed == 0) return;
  // Loop by loop: its own resistances, less what it shares with the loop below, which is gone from it by elimination.
  std::array<Wide, most_cells> resistance;
  std::array<Wide, most_cells> voltage;
  const auto is_closed = [&](std::size_t cell) { return cell < cells && (closed >> cell & 1U) != 0; };
  for (std::size_t n = 0; n < cells; ++n) {
    if (!is_closed(n)) continue;
    const std::int64_t below = tap_uohm[n];
    resistance[n] = Wide{bleed_uohm + cell_uohm + below + tap_uohm[n + 1]} << finer_ohm;
    const std::int64_t own_uohm = (n == 0 ? below : 0) + (n + 1 == cells ? tap_uohm[n + 1] : 0);
    const Wide left_pv = Wide{rest_uv[n]} * uv_of_pv - Wide{own_ua} * own_uohm;
    voltage[n] = (std::max<Wide>(0, left_pv) << finer_volt) / uv_of_pv;
    if (n == 0 || !is_closed(n - 1)) continue;
    const Wide shared = Wide{below} << finer_ohm;
    voltage[n] += shared * voltage[n - 1] / resistance[n - 1];
    resistance[n] -= shared * shared / resistance[n - 1];
  }
  Wide above = 0;  // current of the loop above
  for (std::size_t n = cells; n-- > 0;) {
    if (!is_closed(n)) {
      above = 0;
      continue;
    }
    const Wide from_above = (above * tap_uohm[n + 1] << finer_ohm) / uv_of_pv;
    above = (voltage[n] + from_above) * uv_of_pv / resistance[n];
    ua[n] = static_cast<std::int64_t>((above + (Wide{1} << (finer_ampere - 1))) >> finer_ampere);
  }
}

std::int64_t BoardCircuit::seen_uv(std::span<const std::int64_t> rest_uv, std::span<const std::int64_t> bled_ua,
                                   std::uint32_t cell) const {
  const std::size_t n = cell;
  const std::size_t cells = rest_uv.size();
  // Through a tap, toward the board.
  const std::int64_t above = bled_ua[n] + (n + 1 == cells ? own_ua : -bled_ua[n + 1]);
  const std::int64_t below = (n == 0 ? -own_ua : bled_ua[n - 1]) - bled_ua[n];
  const Wide lost_pv = Wide{bled_ua[n]} * cell_uohm + Wide{above} * tap_uohm[n + 1] - Wide{below} * tap_uohm[n];
  return rest_uv[n] - static_cast<std::int64_t>(lost_pv / uv_of_pv);
}

}  // namespace hopbench
