#include "scenario/told_range.h"

#include <algorithm>

#include "bus/bits.h"
#include "bus/scale.h"
#include "pack/open_circuit.h"

namespace hopbench {
namespace {

constexpr std::int64_t most_cells = 16;

std::int64_t open_circuit_at(std::int64_t charge_ppm) {
  return open_circuit_uv(std::max<std::int64_t>(0, charge_ppm) * full_charge / 1'000'000);
}

TellRange cell_uv(const ChainDescription& chain, const KindSpec& kind) {
  const BatterySpec& battery = chain.pack.battery;
  if (!battery.present) {
    const CellLevels& levels = kind.levels;
    const std::int64_t off = levels.spread_uv + std::abs(levels.swing_uv);
    return {std::max<std::int64_t>(0, levels.level_uv - off), levels.level_uv + off};
  }
  const CycleSpec& cycle = chain.pack.cycle;
  TellRange range{open_circuit_at(battery.charge_ppm - battery.charge_spread_ppm),
                  open_circuit_at(battery.charge_ppm + battery.charge_spread_ppm)};
  if (cycle.charge_ma > 0 && cycle.charge_for > 0) range.most = std::max(range.most, cycle.absorb_uv);
  return range;
}

TellRange over(const TellRange& range, std::int64_t by) { return {range.least / by, (range.most + by / 2) / by}; }

TellRange board_mc(const ChainDescription& chain, const BoardSpec& board) {
  const AirSpec& air = chain.pack.air;
  const std::int64_t own = board.idle_uw * board.rise_mk_per_w / 1'000'000;
  return {air.mean_mc - air.swing_mc, air.mean_mc + air.swing_mc + own};
}

TellRange age_ms(const KindSpec& kind) {
  const MeasurementSpec& measurement = kind.measurement;
  const Nanos conversion = measurement.per_cell * kind.cells;
  if (measurement.when == MeasureWhen::on_ask) return over({0, conversion}, millisecond);
  const Nanos takes = measurement.snapshot + conversion;
  return over({takes, measurement.settle + takes + measurement.period}, millisecond);
}

}  // namespace

std::optional<TellRange> told_range(const ChainDescription& chain, std::size_t node, Quantity quantity) {
  const NodeSpec& spec = chain.nodes[node];
  const KindSpec& kind = chain.kinds[spec.kind];
  const auto exactly = [](std::int64_t value) { return TellRange{value, value}; };
  switch (quantity) {
    case Quantity::cell_mv:
      return over(cell_uv(chain, kind), 1'000);
    case Quantity::cell_uv:
      return cell_uv(chain, kind);
    case Quantity::cell_count:
      return exactly(kind.cells);
    case Quantity::board_temp_mc:
      return board_mc(chain, spec.board.value_or(kind.board));
    case Quantity::supply_mv: {
      const TellRange cell = over(cell_uv(chain, kind), 1'000);
      return TellRange{cell.least * kind.cells, cell.most * kind.cells};
    }
    case Quantity::snapshot_age_ms:
      return age_ms(kind);
    case Quantity::serial_number:
      return TellRange{0, 0xffff'ffff};
    case Quantity::bleed_mask:
      return TellRange{0, kind.board.bleed_mohm > 0 ? (std::int64_t{1} << kind.cells) - 1 : 0};
    case Quantity::low_limit_mv:
      return exactly(2'500);  // as nodes have it until they are told otherwise
    case Quantity::high_limit_mv:
      return exactly(3'650);
    case Quantity::address:
      return exactly(static_cast<std::int64_t>(spec.address));
    case Quantity::kind_code:
      return exactly(kind.cells > 1 ? 2 : 1);
    case Quantity::string_current_ma: {
      const CycleSpec& cycle = chain.pack.cycle;
      return TellRange{-std::max<std::int64_t>(0, cycle.load_ma), std::max<std::int64_t>(0, cycle.charge_ma)};
    }
    case Quantity::uptime_s:
    case Quantity::frames_heard:
    case Quantity::check_failures:
      return std::nullopt;
  }
  return std::nullopt;
}

TellRange sayable_range(const FieldSpec& field, const Scale& scale, bool is_signed) {
  const std::uint64_t limit = FieldCode::limit_of(field);
  // Digits reach as far down as up.
  const bool digits = field.varies_in_width();
  const std::uint64_t lowest = !is_signed ? 0 : digits ? ~limit + 1 : std::uint64_t{1} << (field.bits - 1);
  const std::uint64_t highest = is_signed && !digits ? lowest - 1 : limit;
  const std::int64_t a = value_of_raw(scale, lowest, field.bits, is_signed);
  const std::int64_t b = value_of_raw(scale, highest, field.bits, is_signed);
  return {std::min(a, b), std::max(a, b)};
}

std::optional<TellRange> plausible_range(Quantity quantity) {
  switch (quantity) {
    case Quantity::cell_mv:
    case Quantity::low_limit_mv:
    case Quantity::high_limit_mv:
      return TellRange{1'000, 4'350};
    case Quantity::cell_uv:
      return TellRange{1'000'000, 4'350'000};
    case Quantity::supply_mv:
      return TellRange{1'000, 4'350 * most_cells};
    case Quantity::board_temp_mc:
      return TellRange{-40'000, 85'000};
    case Quantity::cell_count:
      return TellRange{1, most_cells};
    case Quantity::bleed_mask:
      return TellRange{1, (std::int64_t{1} << most_cells) - 1};
    case Quantity::kind_code:
      return TellRange{1, 2};
    case Quantity::snapshot_age_ms:
    case Quantity::serial_number:
    case Quantity::uptime_s:
    case Quantity::frames_heard:
    case Quantity::check_failures:
    case Quantity::address:
    case Quantity::string_current_ma:
      return std::nullopt;
  }
  return std::nullopt;
}

}  // namespace hopbench
