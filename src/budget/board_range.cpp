#include "budget/board_range.h"

#include <algorithm>

#include "pack/open_circuit.h"

namespace hopbench {
namespace {

using Wide = __int128;
constexpr std::int64_t million = 1'000'000;

struct CellRange {
  std::int64_t least_uv = 0;
  std::int64_t most_uv = 0;
};

std::int64_t at_charge(std::int64_t ppm) {
  return open_circuit_uv(std::max<std::int64_t>(0, ppm) * full_charge / million);
}

CellRange cell_range(const ChainDescription& chain, std::size_t node, const BoardSpec& board) {
  const BatterySpec& battery = chain.pack.battery;
  const KindSpec& kind = chain.kinds[chain.nodes[node].kind];
  if (!battery.present) return {kind.levels.level_uv, kind.levels.level_uv};
  CellRange range;
  range.most_uv = at_charge(battery.charge_ppm + battery.charge_spread_ppm);
  for (const StartSpec::Standing& standing : chain.start.nodes) {
    for (const std::int64_t ppm : standing.charge_ppm) range.most_uv = std::max(range.most_uv, at_charge(ppm));
  }
  const CycleSpec& cycle = chain.pack.cycle;
  if (cycle.charge_ma > 0 && cycle.charge_for > 0) range.most_uv = std::max(range.most_uv, cycle.absorb_uv);
  const std::int64_t bled_ua = board.bleed_mohm > 0 ? range.most_uv * 1000 / board.bleed_mohm : 0;
  const Wide ua = Wide{std::max<std::int64_t>(0, cycle.load_ma)} * 1000 + board.supply_ma * 1000 + bled_ua;
  const Wide drop_uv = ua * (battery.cell_uohm + battery.polarisation_uohm) / million;
  range.least_uv = static_cast<std::int64_t>(std::max<Wide>(0, open_circuit_uv(0) - drop_uv - 1));
  return range;
}

}  // namespace

const BoardSpec& board_spec(const ChainDescription& chain, std::size_t node) {
  const NodeSpec& spec = chain.nodes[node];
  return spec.board ? *spec.board : chain.kinds[spec.kind].board;
}

BoardRange board_range(const ChainDescription& chain, std::size_t node) {
  const BoardSpec& board = board_spec(chain, node);
  const AirSpec& air = chain.pack.air;
  const std::uint32_t cells = chain.kinds[chain.nodes[node].kind].cells;
  const CellRange cell = cell_range(chain, node, board);
  const std::int64_t bled_ua = board.bleed_mohm > 0 ? cell.most_uv * 1000 / board.bleed_mohm + 1 : 0;
  const std::int64_t bled_uw = static_cast<std::int64_t>(Wide{bled_ua} * board.bleed_duty_ppm / million *
                                                         (bled_ua * board.bleed_mohm / 1000) / million) +
                               1;
  const auto rise_mc = [&](std::int64_t uw) {
    return static_cast<std::int64_t>(Wide{uw} * board.rise_mk_per_w / million);
  };
  BoardRange range;
  const std::int64_t swing = std::abs(air.swing_mc);
  range.least_mc = air.mean_mc - swing + rise_mc(board.idle_uw) - 1;
  range.most_mc = air.mean_mc + swing + rise_mc(board.idle_uw + (bled_ua > 0 ? cells * bled_uw : 0)) + 1;
  for (const StartSpec::Standing& standing : chain.start.nodes) {
    if (standing.node != node || !standing.board_mc) continue;
    range.least_mc = std::min<std::int64_t>(range.least_mc, *standing.board_mc);
    range.most_mc = std::max<std::int64_t>(range.most_mc, *standing.board_mc);
  }
  // Taps between two cells give to one what they take from the other: the outer two are what counts.
  const BatterySpec& battery = chain.pack.battery;
  std::int64_t below = battery.tap_uohm;
  std::int64_t above = battery.tap_uohm;
  for (const TapSpec& tap : battery.taps) {
    if (tap.board != node) continue;
    if (tap.cell == 0) below = tap.uohm;
    if (tap.cell == cells) above = tap.uohm;
  }
  const Wide own_ua = Wide{board.supply_ma + board.inrush_ma} * 1000;
  const Wide lost_uv = ((own_ua + bled_ua) * (below + above) + Wide{bled_ua} * cells * battery.cell_uohm) / million;
  range.most_uv = cells * cell.most_uv;
  range.least_uv = static_cast<std::int64_t>(std::max<Wide>(0, Wide{cells} * cell.least_uv - lost_uv - cells - 1));
  return range;
}

PpbRange board_clock_range(const BoardSpec& board, const BoardRange& range) {
  constexpr std::int64_t reference_mc = 25'000;
  constexpr std::int64_t most_ppb = 200'000'000;  // as far as boards are told of it
  const auto by_heat = [&](std::int64_t mc) { return Wide{board.clock_ppb_per_k} * (mc - reference_mc) / 1000; };
  const auto by_supply = [&](std::int64_t uv) {
    return Wide{board.clock_ppb_per_v} * (uv / 1000 - board.clock_at_uv / 1000) / 1000;
  };
  const auto heat = std::minmax({by_heat(range.least_mc), by_heat(range.most_mc)});
  const auto supply = std::minmax({by_supply(range.least_uv), by_supply(range.most_uv)});
  const std::int64_t step = board.clock_step_ppb > 0 ? board.clock_step_ppb : 1000;
  const auto told = [&](Wide ppb) {
    return static_cast<std::int64_t>(std::clamp<Wide>(ppb, -most_ppb, most_ppb)) / step * step;
  };
  return {told(heat.first + supply.first), told(heat.second + supply.second)};
}

}  // namespace hopbench
