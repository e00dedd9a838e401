#include "pack/pack.h"

#include <algorithm>

#include "pack/air.h"
#include "pack/decay.h"
#include "pack/open_circuit.h"

namespace hopbench {
namespace {

constexpr std::int64_t step_ms = Pack::step / millisecond;
constexpr std::int64_t uams_per_mah = 3'600'000'000;  // 3600 s of 1 mA
constexpr std::int64_t reference_mc = 25'000;

// Far beyond what any cell or board outlives, and far within what the arithmetic holds.
constexpr std::int64_t most_cell_uv = 10'000'000;
constexpr std::int64_t most_mc = 1'000'000;

/// A cell is never charged beyond this, whatever the spread.
constexpr std::int64_t fullest(std::int64_t capacity) { return capacity / 20 * 21; }

std::int64_t spread(std::int64_t width, const Luck& luck, std::uint64_t who, Purpose purpose) {
  if (width <= 0) return 0;
  const std::uint64_t bits = draw(luck.stream(who, purpose, 0), 0, 0);
  return static_cast<std::int64_t>(below(2 * static_cast<std::uint64_t>(width) + 1, bits)) - width;
}

/// mA through uOhm, in uV.
constexpr std::int64_t drop(std::int64_t ma, std::int64_t uohm) { return ma * uohm / 1000; }

}  // namespace

Pack::Pack(const PackSpec& spec, std::vector<BoardInfo> boards, const Luck& luck, const PackStart& start)
    : spec_(spec), first_(start.at / step), steps_(first_) {
  const BatterySpec& battery = spec_.battery;
  for (BoardInfo& info : boards) {
    Board board;
    board.first = cells_.size();
    board.heat_share = decay_share(step, std::max<Nanos>(1, info.spec.heat_time));
    board.info = std::move(info);
    for (std::uint32_t n = 0; n < board.info.cells; ++n) {
      const std::uint64_t who = name_hash(std::uint64_t{n}, name_hash(board.info.name));
      Cell cell;
      cell.capacity = battery.capacity_mah * uams_per_mah;
      cell.capacity +=
          cell.capacity / 1'000'000 * spread(battery.capacity_spread_ppm, luck, who, Purpose::cell_capacity);
      cell.capacity = std::max(cell.capacity, full_charge);
      cell.unit = cell.capacity / full_charge;
      const std::int64_t ppm = battery.charge_ppm + spread(battery.charge_spread_ppm, luck, who, Purpose::cell_charge);
      const std::int64_t stands_at = n < board.info.charge_ppm.size() ? board.info.charge_ppm[n] : ppm;
      cell.charge = std::clamp<std::int64_t>(cell.capacity / 1'000'000 * stands_at, 0, fullest(cell.capacity));
      cell.most = charge_at_uv(spec_.cycle.absorb_uv) * cell.unit;
      cell.resistance = battery.cell_uohm;
      cell.tap = battery.tap_uohm;
      cell.leakage = std::max<std::int64_t>(
          0, battery.leakage_ua + spread(battery.leakage_spread_ua, luck, who, Purpose::cell_leakage));
      cell.uv = cell.open_uv = board.info.level_uv;
      cells_.push_back(cell);
    }
    boards_.push_back(std::move(board));
  }
  for (const TapSpec& tap : battery.taps) {
    if (tap.board < boards_.size() && tap.cell < boards_[tap.board].info.cells)
      cells_[boards_[tap.board].first + tap.cell].tap = tap.uohm;
  }
  history_.resize(remembered * cells_.size());
  if (start.charged) done_in_period_ = start.at / spec_.cycle.period;
  settle_cells();
  for (Board& board : boards_) {
    const BoardSpec& own = board.info.spec;
    const std::int64_t rise_mc = own.idle_uw * own.rise_mk_per_w / 1'000'000;
    board.heat_uc = (board.info.board_mc ? *board.info.board_mc : air_mc(spec_.air, now()) + rise_mc) * 1000;
    settle_board(board, 0, false, false);
  }
}

bool Pack::moves() const {
  return spec_.battery.present || spec_.air.swing_mc != 0 ||
         std::any_of(boards_.begin(), boards_.end(),
                     [](const Board& each) { return each.info.spec.bleed_mohm > 0 || each.info.board_mc.has_value(); });
}

Nanos Pack::now() const { return steps_ * step; }
std::int64_t Pack::charge_ma() const { return charge_ma_; }
bool Pack::charging() const { return charging_; }
bool Pack::charged() const { return done_in_period_ == now() / spec_.cycle.period; }
const BoardState& Pack::board(std::size_t board) const { return boards_[board].state; }

/// While the switch is closed: through the resistor, the tap that leads to it and the cell itself.
std::int64_t Pack::bled_ua(std::int64_t uv, const BoardSpec& own, const Cell& cell) {
  return uv * 1000 / (own.bleed_mohm + (cell.tap + cell.resistance) / 1000);
}

std::int64_t Pack::bleed_ua(const Board& board, const Cell& cell) const {
  const BoardSpec& own = board.info.spec;
  if (own.bleed_mohm <= 0) return 0;
  return bled_ua(cell.uv, own, cell) * own.bleed_duty_ppm / 1'000'000;
}

void Pack::advance(std::span<const std::uint32_t> bleeding, const std::vector<bool>& starting) {
  if (spec_.battery.present) {
    for (std::size_t b = 0; b < boards_.size(); ++b) {
      const Board& board = boards_[b];
      for (std::uint32_t n = 0; n < board.info.cells; ++n) {
        Cell& cell = cells_[board.first + n];
        std::int64_t ua = charge_ma_ * 1000 - cell.leakage;
        if ((bleeding[b] >> n & 1U) != 0) ua -= bleed_ua(board, cell);
        cell.charge = std::clamp<std::int64_t>(cell.charge + ua * step_ms, 0, fullest(cell.capacity));
      }
    }
  }
  ++steps_;
  settle_cells();
  for (std::size_t b = 0; b < boards_.size(); ++b) settle_board(boards_[b], bleeding[b], starting[b], true);
}

void Pack::settle_cells() {
  if (spec_.battery.present) {
    for (Cell& cell : cells_) cell.open_uv = open_circuit_uv(cell.charge / cell.unit);
    settle_current();
    for (Cell& cell : cells_)
      cell.uv = std::clamp<std::int64_t>(cell.open_uv + drop(charge_ma_, cell.resistance), 0, most_cell_uv);
  }
  remember();
}

/// The current of the step that begins.
void Pack::settle_current() {
  const CycleSpec& cycle = spec_.cycle;
  charge_ma_ = 0;
  charging_ = false;
  const Nanos at = now() % cycle.period;
  const std::int64_t period = now() / cycle.period;
  if (cycle.load_ma > 0 && at >= cycle.load_from && at < cycle.load_from + cycle.load_for) charge_ma_ -= cycle.load_ma;
  if (cycle.charge_ma <= 0 || at < cycle.charge_from || at >= cycle.charge_from + cycle.charge_for) return;
  if (done_in_period_ == period) return;
  // As much as no cell minds: none above the absorption voltage now, none charged beyond it in this step.
  std::int64_t most = cycle.charge_ma;
  for (const Cell& cell : cells_) {
    if (cell.resistance > 0)
      most = std::min(most, std::max<std::int64_t>(0, cycle.absorb_uv - cell.open_uv) * 1000 / cell.resistance);
    most = std::min(most, std::max<std::int64_t>(0, cell.most - cell.charge) / (1000 * step_ms));
  }
  if (most <= cycle.done_ma) {
    done_in_period_ = period;
    return;
  }
  charging_ = true;
  charge_ma_ += most;
}

void Pack::settle_board(Board& board, std::uint32_t bleeding, bool starting, bool ages) {
  const BoardSpec& own = board.info.spec;
  BoardState& state = board.state;
  std::int64_t power_nw = own.idle_uw * 1000;
  std::int64_t hottest_nw = 0;
  std::int64_t supply = 0;
  for (std::uint32_t n = 0; n < board.info.cells; ++n) {
    const Cell& cell = cells_[board.first + n];
    supply += cell.uv;
    if ((bleeding >> n & 1U) == 0) continue;
    const std::int64_t over_resistor_uv = bled_ua(cell.uv, own, cell) * own.bleed_mohm / 1000;
    const std::int64_t nw = bleed_ua(board, cell) * over_resistor_uv / 1000;
    power_nw += nw;
    hottest_nw = std::max(hottest_nw, nw);
  }
  const std::int64_t rise_uc = power_nw / 1000 * own.rise_mk_per_w / 1000;
  if (ages)
    board.heat_uc =
        decay_toward(board.heat_uc, air_mc(spec_.air, now()) * 1000 + rise_uc, board.heat_share);
  board.heat_uc = std::min(board.heat_uc, most_mc * 1000);
  state.board_mc = static_cast<std::int32_t>(board.heat_uc / 1000);
  const std::int64_t hot_spot_mc = hottest_nw / 1000 * own.hot_spot_mk_per_w / 1'000'000;
  state.hottest_mc = static_cast<std::int32_t>(std::min(state.board_mc + hot_spot_mc, most_mc));
  if (own.bleed_stop_mc > 0) {
    if (state.hottest_mc >= own.bleed_stop_mc) {
      state.too_hot = true;
    } else if (state.board_mc < own.bleed_again_mc) {
      state.too_hot = false;
    }
  }

  // The board's own current runs through its outermost taps, and so does the bleed of the cells there while it is
  // closed.
  const std::int64_t ma = own.supply_ma + (starting ? own.inrush_ma : 0);
  const std::uint32_t last = board.info.cells - 1;
  for (std::uint32_t n = 0; n <= last; n += std::max(1U, last)) {
    const Cell& cell = cells_[board.first + n];
    const bool bled = (bleeding >> n & 1U) != 0 && own.bleed_mohm > 0;
    supply -= drop(ma + (bled ? bled_ua(cell.uv, own, cell) / 1000 : 0), cell.tap);
  }
  state.supply_uv = std::max<std::int64_t>(0, supply);
  if (own.brown_out_uv > 0) {
    if (state.supply_uv < own.brown_out_uv) state.browned_out = true;
    if (state.supply_uv >= own.brown_in_uv) state.browned_out = false;
  }

  std::int64_t ppb = own.clock_ppb_per_k * (state.board_mc - reference_mc) / 1000;
  ppb += own.clock_ppb_per_v * (state.supply_uv / 1000 - own.clock_at_uv / 1000) / 1000;
  const std::int64_t in_steps_of = own.clock_step_ppb > 0 ? own.clock_step_ppb : 1000;
  state.clock_ppb =
      static_cast<std::int32_t>(std::clamp<std::int64_t>(ppb, -200'000'000, 200'000'000) / in_steps_of * in_steps_of);
}

void Pack::remember() {
  const std::size_t row = static_cast<std::size_t>(steps_) % remembered * cells_.size();
  for (std::size_t i = 0; i < cells_.size(); ++i) history_[row + i] = cells_[i].uv;
}

std::int64_t Pack::cell_uv(std::size_t board, std::uint32_t cell, Nanos at) const {
  const std::int64_t oldest = std::max<std::int64_t>(first_, steps_ - static_cast<std::int64_t>(remembered) + 1);
  const std::int64_t wanted = std::clamp<std::int64_t>(at / step, oldest, steps_);
  return history_[static_cast<std::size_t>(wanted) % remembered * cells_.size() + boards_[board].first + cell];
}

std::int64_t Pack::bleed_drop_uv(std::size_t board, std::uint32_t cell, Nanos at) const {
  const Board& on = boards_[board];
  if (on.info.spec.bleed_mohm <= 0) return 0;
  const Cell& bled = cells_[on.first + cell];
  return drop(bled_ua(cell_uv(board, cell, at), on.info.spec, bled) / 1000, bled.tap + bled.resistance);
}

std::int64_t Pack::charge_ppm(std::size_t board, std::uint32_t cell) const {
  const Cell& known = cells_[boards_[board].first + cell];
  return static_cast<std::int64_t>(static_cast<__int128>(known.charge) * 1'000'000 / known.capacity);
}

}  // namespace hopbench
