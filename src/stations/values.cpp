#include "stations/values.h"

namespace hopbench {
namespace {

/// Triangle from -1 to 1 in millionths: 0 at phase 0, 1 after a quarter, -1 after three.
std::int64_t triangle_ppm(Nanos at, Nanos period) {
  const auto quarter_ppm = static_cast<std::int64_t>(static_cast<__int128>(at % period) * 4'000'000 / period);
  if (quarter_ppm < 1'000'000) return quarter_ppm;
  if (quarter_ppm < 3'000'000) return 2'000'000 - quarter_ppm;
  return quarter_ppm - 4'000'000;
}

}  // namespace

std::int64_t CellValues::microvolts(std::uint32_t cell, Nanos at) const {
  std::int64_t value = levels_.level_uv;
  if (levels_.spread_uv > 0) {
    const auto span = 2 * static_cast<std::uint64_t>(levels_.spread_uv) + 1;
    value += static_cast<std::int64_t>(below(span, draw(trim_, cell, 0))) - levels_.spread_uv;
  }
  if (levels_.swing_uv != 0 && levels_.swing_period > 0) {
    value += levels_.swing_uv * triangle_ppm(at, levels_.swing_period) / 1'000'000;
  }
  return value;
}

}  // namespace hopbench
