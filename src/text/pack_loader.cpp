#include "text/pack_loader.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <set>
#include <span>

#include "pack/pack.h"
#include "text/readers.h"
#include "text/suggest.h"
#include "text/units.h"

namespace hopbench {
namespace {

constexpr int most_taps = 4'000;
constexpr int most_standing = 250;
constexpr std::uint64_t most_rounds = 1'000'000'000'000'000;
constexpr Nanos day = 86'400 * second;

struct Measure {
  std::string_view what;
  std::span<const Unit> units;  // no unit the end of another that comes before it
  std::string_view example;
  std::int64_t least;
  std::int64_t most;
  std::string_view range;
};

constexpr std::array<Unit, 4> ohms{{{"mohm", 1'000}, {"uohm", 1}, {"kohm", 1'000'000'000}, {"ohm", 1'000'000}}};
constexpr std::array<Unit, 3> amperes{{{"mA", 1'000}, {"uA", 1}, {"A", 1'000'000}}};
constexpr std::array<Unit, 2> capacities{{{"mAh", 1}, {"Ah", 1'000}}};
constexpr std::array<Unit, 4> farads{{{"mF", 1}, {"kF", 1'000'000}, {"MF", 1'000'000'000}, {"F", 1'000}}};
constexpr std::array<Unit, 1> degrees{{{"C", 1'000}}};
constexpr std::array<Unit, 1> kelvins{{{"K/W", 1'000}}};
constexpr std::array<Unit, 3> watts{{{"mW", 1'000}, {"uW", 1}, {"W", 1'000'000}}};
constexpr std::array<Unit, 2> shares{{{"%", 10'000}, {"ppm", 1}}};

constexpr Measure resistance{"resistance", ohms, "33ohm", 0, 1'000'000'000'000, "0 to 1 Mohm"};
constexpr Measure current{"current", amperes, "100mA", 0, 1'000'000'000, "0 to 1000 A"};
constexpr Measure capacity{"capacity", capacities, "100Ah", 1, 1'000'000, "1 mAh to 1000 Ah"};
constexpr Measure capacitance{"capacitance", farads, "600kF", 0, 1'000'000'000'000, "0 to 1000 MF"};
constexpr Measure temperature{"temperature", degrees, "25C", -60'000, 200'000, "-60 to 200 degrees"};
constexpr Measure board_temperature{"temperature", degrees, "25C", -60'000, 1'000'000, "-60 to 1000 degrees"};
constexpr Measure warmth{"difference of temperature", degrees, "8C", 0, 100'000, "0 to 100 degrees"};
constexpr Measure rise{"rise", kelvins, "3K/W", 0, 1'000'000, "0 to 1000 K/W"};
constexpr Measure power{"power", watts, "50mW", 0, 1'000'000'000, "0 to 1000 W"};
constexpr Measure charge{"share", shares, "90%", 0, 1'050'000, "0 to 105%"};
constexpr Measure share{"share", shares, "2%", 0, 1'000'000, "0 to 100%"};

/// What stands `here` as the value of a field. Leaves `out` alone if it is wrong.
void read_here(const Spot& here, std::string_view field, const std::string& text, const Measure& measure,
               std::int64_t& out) {
  const bool is_signed = measure.least < 0;
  const bool negative = is_signed && text.starts_with('-');
  std::string_view rest = text;
  if (negative || (is_signed && rest.starts_with('+'))) rest.remove_prefix(1);
  std::int64_t value = 0;
  const DecimalFault fault = with_unit(rest, measure.units, false, value);
  if (negative) value = -value;
  if (fault == DecimalFault::not_a_number) {
    here.say(fmt::format("{}: {} is no {}: write a number and a unit, for example \"{}\"", field, in_quotes(text),
                         measure.what, measure.example));
  } else if (fault == DecimalFault::too_fine) {
    here.say(fmt::format("{}: {} is finer than it is taken", field, in_quotes(text)));
  } else if (fault == DecimalFault::too_large || value < measure.least || value > measure.most) {
    here.say(fmt::format("{}: {} is out of range: {}", field, in_quotes(text), measure.range));
  } else {
    out = value;
  }
}

/// Leaves `out` alone if the text does not have the field.
void read(const Spot& spot, std::string_view field, const std::string& text, const Measure& measure,
          std::int64_t& out) {
  if (spot.has(field)) read_here(spot.in(field), field, text, measure, out);
}

void read_at(const Spot& spot, std::string_view field, int index, const std::string& text, const Measure& measure,
             std::int64_t& out) {
  read_here(spot.in(field, index), field, text, measure, out);
}

/// A current kept in mA.
void read_ma(const Spot& spot, std::string_view field, const std::string& text, std::int64_t& out) {
  std::int64_t ua = out * 1'000;
  read(spot, field, text, current, ua);
  out = ua / 1'000;
}

/// A voltage of a whole board: up to 16 cells.
void read_board_voltage(const Spot& spot, std::string_view field, const std::string& text, std::int64_t& out) {
  constexpr static std::array<Unit, 3> volts{{{"mV", 1'000}, {"uV", 1}, {"V", 1'000'000}}};
  constexpr static Measure voltage{"voltage", volts, "2.6V", 0, 160'000'000, "0 to 160 V"};
  read(spot, field, text, voltage, out);
}

BatterySpec battery_from(const text::Battery& battery, const Spot& spot, const ChainDescription& chain) {
  BatterySpec result;
  result.present = true;
  read(spot, "capacity", battery.capacity(), capacity, result.capacity_mah);
  read(spot, "capacity_spread", battery.capacity_spread(), share, result.capacity_spread_ppm);
  read(spot, "charge", battery.charge(), share, result.charge_ppm);
  read(spot, "charge_spread", battery.charge_spread(), share, result.charge_spread_ppm);
  read(spot, "cell_resistance", battery.cell_resistance(), resistance, result.cell_uohm);
  read(spot, "polarisation_resistance", battery.polarisation_resistance(), resistance, result.polarisation_uohm);
  read(spot, "polarisation_capacitance", battery.polarisation_capacitance(), capacitance, result.polarisation_mf);
  read(spot, "tap_resistance", battery.tap_resistance(), resistance, result.tap_uohm);
  read(spot, "leakage", battery.leakage(), current, result.leakage_ua);
  read(spot, "leakage_spread", battery.leakage_spread(), current, result.leakage_spread_ua);
  if (result.capacity_spread_ppm > 500'000) spot.in("capacity_spread").say("capacity_spread is 50% at most");
  for (const auto& [field, value] : {std::pair{"cell_resistance", result.cell_uohm},
                                     {"polarisation_resistance", result.polarisation_uohm},
                                     {"tap_resistance", result.tap_uohm}}) {
    if (value > 100'000'000) spot.in(field).say(fmt::format("{} is 100 ohm at most", field));
  }
  if (spot.has("polarisation_resistance") != spot.has("polarisation_capacitance")) {
    spot.in(spot.has("polarisation_resistance") ? "polarisation_resistance" : "polarisation_capacitance")
        .say("polarisation_resistance and polarisation_capacitance go together");
  } else if (static_cast<__int128>(result.polarisation_uohm) * result.polarisation_mf > day) {
    spot.in("polarisation_capacitance").say("polarisation_resistance x polarisation_capacitance is 1d at most");
    result.polarisation_uohm = result.polarisation_mf = 0;
  }
  if (too_many(spot, "tap", battery.tap_size(), most_taps)) return result;
  for (int i = 0; i < battery.tap_size(); ++i) {
    const text::Tap& tap = battery.tap(i);
    const Spot here = spot.in("tap", i);
    TapSpec each;
    const auto node = std::find_if(chain.nodes.begin(), chain.nodes.end(),
                                   [&](const NodeSpec& spec) { return spec.name == tap.node(); });
    if (node == chain.nodes.end()) {
      (here.has("node") ? here.in("node") : here).say(fmt::format("there is no node {}", in_quotes(tap.node())));
      continue;
    }
    each.board = static_cast<std::uint16_t>(node - chain.nodes.begin());
    each.cell = tap.cell();
    // A chain without any kind is told elsewhere.
    const std::uint32_t cells = node->kind < chain.kinds.size() ? chain.kinds[node->kind].cells : each.cell;
    if (each.cell > cells) {
      here.in("cell").say(fmt::format("{} has cells 0 to {}, and {} for the tap above the last, not {}", tap.node(),
                                      cells - 1, cells, each.cell));
    }
    if (!here.has("resistance")) here.say("a tap needs its resistance, for example resistance: \"1ohm\"");
    read(here, "resistance", tap.resistance(), resistance, each.uohm);
    if (each.uohm > 100'000'000) here.in("resistance").say("resistance is 100 ohm at most");
    result.taps.push_back(each);
  }
  return result;
}

CycleSpec cycle_from(const text::Cycle& cycle, const Spot& spot) {
  CycleSpec result;
  read_span(spot, "period", cycle.period(), result.period);
  if (result.period < 60 * second) {
    spot.in("period").say("period must be at least 1min");
    result.period = day;
  }
  read_ma(spot, "load", cycle.load(), result.load_ma);
  read_span(spot, "load_from", cycle.load_from(), result.load_from);
  read_span(spot, "load_for", cycle.load_for(), result.load_for);
  read_ma(spot, "charge", cycle.charge(), result.charge_ma);
  read_span(spot, "charge_from", cycle.charge_from(), result.charge_from);
  read_span(spot, "charge_for", cycle.charge_for(), result.charge_for);
  read_voltage(spot, "absorb", cycle.absorb(), result.absorb_uv);
  read_ma(spot, "done", cycle.done(), result.done_ma);
  for (const auto& [from, lasts, field] : {std::tuple{result.load_from, result.load_for, "load_for"},
                                           {result.charge_from, result.charge_for, "charge_for"}}) {
    if (from + lasts > result.period) spot.in(field).say(fmt::format("{} goes on beyond the end of the period", field));
  }
  return result;
}

AirSpec air_from(const text::Air& air, const Spot& spot) {
  AirSpec result;
  read(spot, "mean", air.mean(), temperature, result.mean_mc);
  read(spot, "swing", air.swing(), warmth, result.swing_mc);
  read_span(spot, "warmest", air.warmest(), result.warmest, Zero::allowed, day);
  return result;
}

}  // namespace

PackSpec pack_from(const text::Scenario& scenario, const Spot& spot, const ChainDescription& chain) {
  PackSpec result;
  if (scenario.has_battery()) result.battery = battery_from(scenario.battery(), spot.in("battery"), chain);
  if (scenario.has_cycle()) {
    if (!scenario.has_battery()) spot.in("cycle").say("a cycle needs a battery");
    result.cycle = cycle_from(scenario.cycle(), spot.in("cycle"));
  }
  if (scenario.has_air()) result.air = air_from(scenario.air(), spot.in("air"));
  return result;
}

StartSpec start_from(const text::Begins& begins, const Spot& spot, const ChainDescription& chain) {
  StartSpec result;
  read_span(spot, "after", begins.after(), result.at, Zero::allowed, latest_instant);
  if (result.at % Pack::step != 0) spot.in("after").say("after must be in whole steps of 10s");
  result.round = begins.round();
  result.charged = begins.charged();
  if (result.round > most_rounds) spot.in("round").say("round is 10^15 at most");
  std::set<std::uint16_t> stated;
  if (too_many(spot, "standing", begins.standing_size(), most_standing)) return result;
  for (int i = 0; i < begins.standing_size(); ++i) {
    const text::Standing& standing = begins.standing(i);
    const Spot here = spot.in("standing", i);
    const auto node = std::find_if(chain.nodes.begin(), chain.nodes.end(),
                                   [&](const NodeSpec& spec) { return spec.name == standing.node(); });
    if (node == chain.nodes.end()) {
      (here.has("node") ? here.in("node") : here).say(fmt::format("there is no node {}", in_quotes(standing.node())));
      continue;
    }
    StartSpec::Standing each;
    each.node = static_cast<std::uint16_t>(node - chain.nodes.begin());
    if (!stated.insert(each.node).second) here.in("node").say(fmt::format("{} stands here twice", standing.node()));
    const std::uint32_t cells = chain.kinds[node->kind].cells;
    if (standing.charge_size() != 0 && standing.charge_size() != static_cast<int>(cells)) {
      here.say(
          fmt::format("{} has {} cells, and {} charges stand here", standing.node(), cells, standing.charge_size()));
      continue;
    }
    if (standing.charge_size() != 0 && !chain.pack.battery.present)
      here.in("charge", 0).say("a charge needs a battery");
    for (int cell = 0; cell < standing.charge_size(); ++cell) {
      each.charge_ppm.push_back(0);
      read_at(here, "charge", cell, standing.charge(cell), charge, each.charge_ppm.back());
    }
    if (here.has("board")) {
      std::int64_t board_mc = 0;
      read(here, "board", standing.board(), board_temperature, board_mc);
      each.board_mc = static_cast<std::int32_t>(board_mc);
    }
    result.nodes.push_back(each);
  }
  return result;
}

BoardSpec board_from(const text::Kind& kind, const Spot& spot, std::uint32_t cells) {
  BoardSpec result;
  if (kind.has_bleed()) {
    const Spot here = spot.in("bleed");
    const text::Bleed& bleed = kind.bleed();
    std::int64_t uohm = 0;
    read(here, "resistor", bleed.resistor(), resistance, uohm);
    result.bleed_mohm = uohm / 1'000;
    if (!here.has("resistor")) here.say("a bleed needs its resistor, for example resistor: \"33ohm\"");
    if (here.has("resistor") && result.bleed_mohm < 100) here.in("resistor").say("resistor must be at least 0.1ohm");
    read(here, "duty", bleed.duty(), share, result.bleed_duty_ppm);
    read_span(here, "chop_period", bleed.chop_period(), result.chop_period, Zero::allowed, second);
    if (here.has("chop_period") && result.chop_period < microsecond)
      here.in("chop_period").say("chop_period must be at least 1us");
    read(here, "stop_at", bleed.stop_at(), temperature, result.bleed_stop_mc);
    result.bleed_again_mc = result.bleed_stop_mc - 5'000;
    read(here, "again_below", bleed.again_below(), temperature, result.bleed_again_mc);
    if (result.bleed_again_mc > result.bleed_stop_mc) here.in("again_below").say("again_below is above stop_at");
    if (here.has("stop_at") && result.bleed_stop_mc <= 0) here.in("stop_at").say("stop_at must be above 0 degrees");
  }
  if (kind.has_heat()) {
    const Spot here = spot.in("heat");
    read(here, "idle", kind.heat().idle(), power, result.idle_uw);
    read(here, "rise", kind.heat().rise(), rise, result.rise_mk_per_w);
    read_span(here, "time", kind.heat().time(), result.heat_time, Zero::refused);
    if (result.heat_time < second) here.in("time").say("time must be at least 1s");
    read(here, "hot_spot", kind.heat().hot_spot(), rise, result.hot_spot_mk_per_w);
  }
  if (kind.has_supply()) {
    const Spot here = spot.in("supply");
    read_ma(here, "current", kind.supply().current(), result.supply_ma);
    read_ma(here, "inrush", kind.supply().inrush(), result.inrush_ma);
    read_board_voltage(here, "brown_out", kind.supply().brown_out(), result.brown_out_uv);
    result.brown_in_uv = result.brown_out_uv + 50'000 * static_cast<std::int64_t>(cells);
    read_board_voltage(here, "brown_in", kind.supply().brown_in(), result.brown_in_uv);
    if (result.brown_in_uv < result.brown_out_uv) here.in("brown_in").say("brown_in is below brown_out");
  }
  if (kind.has_clock()) (void)read_slopes(kind.clock(), spot.in("clock"), result);
  return result;
}

bool read_slopes(const text::Clock& clock, const Spot& spot, BoardSpec& board) {
  read_clock_error(spot, "per_kelvin", clock.per_kelvin(), board.clock_ppb_per_k);
  read_clock_error(spot, "per_volt", clock.per_volt(), board.clock_ppb_per_v);
  read_board_voltage(spot, "at_volts", clock.at_volts(), board.clock_at_uv);
  read_clock_error(spot, "step", clock.step(), board.clock_step_ppb);
  if (spot.has("step") && board.clock_step_ppb <= 0) spot.in("step").say("step must be more than 0");
  if (spot.has("per_volt") && !spot.has("at_volts"))
    spot.in("per_volt").say("per_volt needs at_volts: the supply at which the clock is as stated");
  return spot.has("per_kelvin") || spot.has("per_volt") || spot.has("step");
}

}  // namespace hopbench
