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
constexpr std::int32_t most_clock_ppb = 200'000'000;
constexpr std::int64_t most_polarised = std::int64_t{1} << 60U;  // pV

/// A cell is never charged beyond this, whatever the spread.
constexpr std::int64_t fullest(std::int64_t capacity) { return capacity / 20 * 21; }

std::int64_t spread(std::int64_t width, const Luck& luck, std::uint64_t who, Purpose purpose) {
  if (width <= 0) return 0;
  const std::uint64_t bits = draw(luck.stream(who, purpose, 0), 0, 0);
  return static_cast<std::int64_t>(below(2 * static_cast<std::uint64_t>(width) + 1, bits)) - width;
}

constexpr std::int64_t pv_per_uv = 1'000'000;

}  // namespace

Pack::Pack(const PackSpec& spec, std::vector<BoardInfo> boards, const Luck& luck, const PackStart& start)
    : spec_(spec), first_(start.at / step), steps_(first_) {
  const BatterySpec& battery = spec_.battery;
  for (BoardInfo& info : boards) {
    Board board;
    board.first = cells_.size();
    board.first_tap = tap_uohm_.size();
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
      cell.own_ua = board.info.spec.supply_ma * 1000;
      cell.leakage = std::max<std::int64_t>(
          0, battery.leakage_ua + spread(battery.leakage_spread_ua, luck, who, Purpose::cell_leakage));
      cells_.push_back(cell);
      rest_uv_.push_back(board.info.level_uv);
    }
    tap_uohm_.insert(tap_uohm_.end(), board.info.cells + 1, battery.tap_uohm);
    boards_.push_back(std::move(board));
  }
  for (const TapSpec& tap : battery.taps) {
    if (tap.board < boards_.size() && tap.cell <= boards_[tap.board].info.cells)
      tap_uohm_[boards_[tap.board].first_tap + tap.cell] = tap.uohm;
  }
  if (battery.polarisation_uohm > 0)
    polarises_ = decay_share(step, std::max<Nanos>(1, battery.polarisation_uohm * battery.polarisation_mf));
  history_.resize(remembered * cells_.size());
  if (start.charged) done_in_period_ = start.at / spec_.cycle.period;
  settle_cells();
  for (Board& board : boards_) {
    const BoardSpec& own = board.info.spec;
    const std::int64_t rise_mc = own.idle_uw * own.rise_mk_per_w / 1'000'000;
    board.heat_uc = (board.info.board_mc ? *board.info.board_mc : air_mc(spec_.air, now()) + rise_mc) * 1000;
    settle_board(board, 0, false, {});
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

/// `ma`: that the board draws now.
BoardCircuit Pack::circuit_of(const Board& board, std::int64_t ma) const {
  return {std::span(tap_uohm_).subspan(board.first_tap, board.info.cells + 1), spec_.battery.cell_uohm,
          board.info.spec.bleed_mohm * 1000, ma * 1000};
}

std::span<const std::int64_t> Pack::rest_uv(const Board& board) const {
  return std::span(rest_uv_).subspan(board.first, board.info.cells);
}

/// Of the battery's current and the board's own, at its terminals.
std::int64_t Pack::uv_at(const Cell& cell, std::int64_t charge, std::int64_t polarised, std::int64_t ma) const {
  const std::int64_t drop_pv = (ma * 1000 - cell.own_ua) * spec_.battery.cell_uohm + polarised;
  return open_circuit_uv(charge / cell.unit) + drop_pv / pv_per_uv;
}

/// Over its polarisation branch, when `ua` have gone through the cell for one step.
std::int64_t Pack::polarised_after(const Cell& cell, std::int64_t ua) const {
  if (polarises_ == 0) return 0;
  return decay_toward(cell.polarised, ua * spec_.battery.polarisation_uohm, polarises_);
}

/// One step of the current through each cell of a board. What leaks away does so within the cell.
void Pack::flow(const Board& board, std::uint32_t bleeding) {
  Currents bled;
  const BoardSpec& own = board.info.spec;
  circuit_of(board, own.supply_ma).bled_ua(rest_uv(board), bleeding, std::span(bled).first(board.info.cells));
  for (std::uint32_t n = 0; n < board.info.cells; ++n) {
    Cell& cell = cells_[board.first + n];
    const std::int64_t ua = charge_ma_ * 1000 - cell.own_ua - bled[n] * own.bleed_duty_ppm / 1'000'000;
    cell.polarised = polarised_after(cell, ua);
    cell.charge = std::clamp<std::int64_t>(cell.charge + (ua - cell.leakage) * step_ms, 0, fullest(cell.capacity));
  }
}

void Pack::advance(std::span<const std::uint32_t> bleeding, const std::vector<bool>& starting) {
  if (spec_.battery.present) {
    for (std::size_t b = 0; b < boards_.size(); ++b) flow(boards_[b], bleeding[b]);
  }
  ++steps_;
  settle_cells();
  const std::int64_t air = air_mc(spec_.air, now());
  for (std::size_t b = 0; b < boards_.size(); ++b) settle_board(boards_[b], bleeding[b], starting[b], air);
}

void Pack::settle_cells() {
  if (spec_.battery.present) {
    settle_current();
    for (std::size_t i = 0; i < cells_.size(); ++i) {
      const Cell& cell = cells_[i];
      rest_uv_[i] = std::clamp<std::int64_t>(uv_at(cell, cell.charge, cell.polarised, charge_ma_), 0, most_cell_uv);
    }
  }
  remember();
}

/// Whether `ma` would take it above the absorption voltage at once or within a step.
bool Pack::minds(const Cell& cell, std::int64_t ma) const {
  const std::int64_t ua = ma * 1000 - cell.own_ua;
  const std::int64_t after = std::min(cell.charge + (ua - cell.leakage) * step_ms, fullest(cell.capacity));
  return uv_at(cell, cell.charge, cell.polarised, ma) > spec_.cycle.absorb_uv ||
         uv_at(cell, after, polarised_after(cell, ua), ma) > spec_.cycle.absorb_uv;
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
  // As much as no cell minds: none above the absorption voltage from now to the end of this step. A cell that is bled
  // in it minds a little less, which is not known yet.
  std::int64_t most = cycle.charge_ma;
  for (const Cell& cell : cells_) {
    if (!minds(cell, charge_ma_ + most)) continue;
    std::int64_t less = 0;
    while (most - less > 1) {
      const std::int64_t middle = less + (most - less) / 2;
      (minds(cell, charge_ma_ + middle) ? most : less) = middle;
    }
    most = less;
    if (most == 0) break;
  }
  if (most <= cycle.done_ma) {
    done_in_period_ = period;
    return;
  }
  charging_ = true;
  charge_ma_ += most;
}

/// `air`: its temperature now, by which the board goes on; none: it begins.
void Pack::settle_board(Board& board, std::uint32_t bleeding, bool starting, std::optional<std::int64_t> air) {
  const BoardSpec& own = board.info.spec;
  BoardState& state = board.state;
  const BoardCircuit circuit = circuit_of(board, own.supply_ma + (starting ? own.inrush_ma : 0));
  const auto rest = rest_uv(board);
  Currents bled;
  circuit.bled_ua(rest, bleeding, std::span(bled).first(board.info.cells));
  std::int64_t power_nw = own.idle_uw * 1000;
  std::int64_t hottest_nw = 0;
  std::int64_t supply = 0;  // while all that are bled are closed
  for (std::uint32_t n = 0; n < board.info.cells; ++n) {
    supply += circuit.seen_uv(rest, bled, n);
    if (bled[n] == 0) continue;
    const std::int64_t over_resistor_uv = bled[n] * own.bleed_mohm / 1000;
    const std::int64_t nw = bled[n] * own.bleed_duty_ppm / 1'000'000 * over_resistor_uv / 1000;
    power_nw += nw;
    hottest_nw = std::max(hottest_nw, nw);
  }
  const std::int64_t rise_uc = power_nw / 1000 * own.rise_mk_per_w / 1000;
  if (air) board.heat_uc = decay_toward(board.heat_uc, *air * 1000 + rise_uc, board.heat_share);
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

  state.supply_uv = std::max<std::int64_t>(0, supply);
  state.string_ma = charge_ma_;
  if (own.brown_out_uv > 0) {
    if (state.supply_uv < own.brown_out_uv) state.browned_out = true;
    if (state.supply_uv >= own.brown_in_uv) state.browned_out = false;
  }

  std::int64_t ppb = own.clock_ppb_per_k * (state.board_mc - reference_mc) / 1000;
  ppb += own.clock_ppb_per_v * (state.supply_uv / 1000 - own.clock_at_uv / 1000) / 1000;
  const std::int64_t in_steps_of = own.clock_step_ppb > 0 ? own.clock_step_ppb : 1000;
  state.clock_ppb = static_cast<std::int32_t>(std::clamp<std::int64_t>(ppb, -most_clock_ppb, most_clock_ppb) /
                                              in_steps_of * in_steps_of);
}

void Pack::remember() {
  const std::size_t row = static_cast<std::size_t>(steps_) % remembered * cells_.size();
  for (std::size_t i = 0; i < cells_.size(); ++i) history_[row + i] = rest_uv_[i];
}

/// Of a board's cells, as remembered.
std::span<const std::int64_t> Pack::rest_uv(const Board& board, Nanos at) const {
  const std::int64_t oldest = std::max<std::int64_t>(first_, steps_ - static_cast<std::int64_t>(remembered) + 1);
  const std::int64_t wanted = std::clamp<std::int64_t>(at / step, oldest, steps_);
  const std::size_t row = static_cast<std::size_t>(wanted) % remembered * cells_.size();
  return std::span(history_).subspan(row + board.first, board.info.cells);
}

std::int64_t Pack::cell_uv(std::size_t board, std::uint32_t cell, Nanos at) const {
  return rest_uv(boards_[board], at)[cell];
}

std::int64_t Pack::seen_uv(std::size_t board, std::uint32_t cell, Nanos at) const {
  constexpr Currents none{};
  const Board& on = boards_[board];
  return std::max<std::int64_t>(0, circuit_of(on, on.info.spec.supply_ma).seen_uv(rest_uv(on, at), none, cell));
}

std::int64_t Pack::bleed_drop_uv(std::size_t board, std::uint32_t cell, std::uint32_t closed, Nanos at) const {
  const Board& on = boards_[board];
  const BoardCircuit circuit = circuit_of(on, on.info.spec.supply_ma);
  const auto rest = rest_uv(on, at);
  Currents bled;
  circuit.bled_ua(rest, closed, std::span(bled).first(on.info.cells));
  return seen_uv(board, cell, at) - std::max<std::int64_t>(0, circuit.seen_uv(rest, bled, cell));
}

std::int64_t Pack::charge_ppm(std::size_t board, std::uint32_t cell) const {
  const Cell& known = cells_[boards_[board].first + cell];
  return static_cast<std::int64_t>(static_cast<__int128>(known.charge) * 1'000'000 / known.capacity);
}

void Pack::keep_board(Archive& archive, Board& board) {
  BoardState& state = board.state;
  archive.number("heat", board.heat_uc, -most_mc * 1000, most_mc * 1000);
  archive.number("board temperature", state.board_mc, static_cast<std::int32_t>(-most_mc),
                 static_cast<std::int32_t>(most_mc));
  archive.number("hottest", state.hottest_mc, static_cast<std::int32_t>(-most_mc), static_cast<std::int32_t>(most_mc));
  archive.number("supply", state.supply_uv, std::int64_t{0},
                 std::max(most_cell_uv, board.info.level_uv) * board.info.cells);
  archive.number("clock", state.clock_ppb, -most_clock_ppb, most_clock_ppb);
  archive.flag("too hot", state.too_hot);
  archive.flag("browned out", state.browned_out);
}

void Pack::keep(Archive& archive) {
  archive.number("steps", steps_, first_, Archive::longest / step);
  archive.number("charge done in period", done_in_period_, std::int64_t{-1}, Archive::longest);
  archive.all("cell", cells_, [&](Cell& cell) {
    archive.number("charge", cell.charge, std::int64_t{0}, fullest(cell.capacity));
    archive.number("polarisation", cell.polarised, -most_polarised, most_polarised);
  });
  if (spec_.battery.present) {
    archive.all("voltage", history_,
                [&](std::int64_t& uv) { archive.number("uv", uv, std::int64_t{0}, most_cell_uv); });
  }
  archive.all("board", boards_, [&](Board& board) { keep_board(archive, board); });
  if (!archive.good() || !archive.restores()) return;
  // Voltages and current follow from that. Without a battery they have always been the same.
  settle_cells();
  for (Board& board : boards_) board.state.string_ma = charge_ma_;
  for (std::size_t i = 0; !spec_.battery.present && i < history_.size(); ++i) history_[i] = rest_uv_[i % cells_.size()];
}

}  // namespace hopbench
