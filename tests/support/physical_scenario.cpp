#include "support/physical_scenario.h"

#include <string>

#include "line/signal.h"
#include "support/dice.h"

namespace hopbench {
namespace {

ProcessorSpec some_processor(Dice& dice, bool of_node) {
  ProcessorSpec processor;
  const std::uint64_t duties = 1 + dice.up_to(2);
  for (std::uint64_t i = 0; i < duties; ++i) {
    DutySpec duty;
    duty.name = "duty" + std::to_string(i);
    duty.every = dice.one_in(3) ? dice.between(20, 300) * millisecond : dice.between(1, 30) * second;
    duty.takes = dice.between(0, duty.every / 8);
    if (dice.one_in(2)) duty.takes_up_to = duty.takes + dice.between(0, duty.every / 8);
    if (of_node && dice.one_in(2)) duty.per_bleeding_cell = dice.between(0, duty.every / 160);
    if (dice.one_in(2)) duty.jitter = dice.between(0, duty.every / 8);
    duty.masks = dice.one_in(2);
    processor.duties.push_back(duty);
  }
  if (dice.one_in(2)) processor.fifo_chars = static_cast<std::uint32_t>(1 + dice.up_to(15));
  if (of_node && dice.one_in(2)) processor.watchdog = dice.between(5, 2000) * millisecond;
  return processor;
}

BoardSpec some_board(Dice& dice) {
  BoardSpec board;
  if (!dice.one_in(4)) board.bleed_mohm = dice.between(5'000, 60'000);
  if (dice.one_in(2)) board.bleed_duty_ppm = dice.between(200'000, 1'000'000);
  if (dice.one_in(2)) board.chop_period = dice.between(100, 20'000) * microsecond;
  board.idle_uw = dice.between(0, 2'000'000);
  board.rise_mk_per_w = dice.between(0, 30'000);
  board.heat_time = dice.between(20, 100) * second;
  board.hot_spot_mk_per_w = dice.between(0, 60'000);
  if (dice.one_in(3)) {
    board.bleed_stop_mc = dice.between(26'000, 60'000);
    board.bleed_again_mc = board.bleed_stop_mc - dice.between(500, 5'000);
  }
  board.supply_ma = dice.between(0, 50);
  board.inrush_ma = dice.between(0, 500);
  board.clock_ppb_per_k = dice.one_in(2) ? dice.between(-1'000'000, 1'000'000) : 0;
  board.clock_ppb_per_v = dice.one_in(3) ? dice.between(-1'000'000, 1'000'000) : 0;
  board.clock_step_ppb = dice.between(1, 200'000);
  return board;
}

}  // namespace

RandomScenario physical_scenario(std::uint64_t number) {
  RandomScenario made = random_scenario(5'000'000 + number);
  Dice dice("physical scenario", number);
  ChainDescription& chain = made.chain;
  chain.name = "physical " + std::to_string(number);
  const Nanos character = half_edge(0, made.bus.line.char_half_bits(), period_of_baud(made.bus.line.baud));
  // What random scenarios bring along would hide much of what is to be seen here.
  const bool calm = dice.one_in(2);
  if (calm) {
    chain.faults.clear();
    for (LinkSpec& link : chain.links) link = {};
    for (KindSpec& kind : chain.kinds) kind.clock.error_ppb /= 4;
  }
  if (dice.one_in(2)) {
    BatterySpec& battery = chain.pack.battery;
    battery.present = true;
    battery.capacity_mah = dice.between(20, 2'000);
    battery.capacity_spread_ppm = dice.between(0, 100'000);
    battery.charge_ppm = dice.between(20'000, 990'000);
    battery.charge_spread_ppm = dice.between(0, 20'000);
    battery.cell_uohm = dice.between(100, 30'000);
    battery.tap_uohm = dice.between(0, 2'000'000);
    battery.leakage_ua = dice.between(0, 20'000);
    battery.leakage_spread_ua = dice.between(0, 20'000);
    CycleSpec& cycle = chain.pack.cycle;
    cycle.period = dice.between(60, 400) * second;
    cycle.load_ma = dice.between(0, 2'000);
    cycle.load_for = cycle.period / 3;
    cycle.charge_ma = dice.between(0, 4'000);
    cycle.charge_from = cycle.period / 2;
    cycle.charge_for = cycle.period / 3;
    cycle.done_ma = cycle.charge_ma / 20;
  }
  if (dice.one_in(3)) chain.pack.air.swing_mc = dice.between(0, 20'000);
  for (KindSpec& kind : chain.kinds) {
    if (dice.one_in(2)) kind.processor = some_processor(dice, true);
    if (!dice.one_in(3)) kind.board = some_board(dice);
    if (chain.pack.battery.present && dice.one_in(2)) {
      kind.board.brown_out_uv = static_cast<std::int64_t>(kind.cells) * dice.between(2'500'000, 3'300'000);
      kind.board.brown_in_uv = kind.board.brown_out_uv + dice.between(10'000, 100'000);
    }
    if (dice.one_in(4)) {
      kind.sleep_after = dice.between(20, 500) * millisecond;
      kind.wake_up = dice.between(0, 4) * character;
    }
    kind.holds_line = dice.one_in(2);
    kind.measurement.bleed = static_cast<BleedWhile>(dice.up_to(2));
  }
  for (LinkSpec& link : chain.links) {
    if (dice.one_in(4)) link.pulse_stretch = dice.between(-character / 15, character / 15);
    if (dice.one_in(4)) link.line_ripple = {10 * millisecond, dice.between(100, 5'000) * microsecond, certain / 200};
    if (dice.one_in(6)) link.switching_ripple = {dice.between(10, 100) * microsecond, 2 * microsecond, certain / 100};
    if (dice.one_in(4)) link.bleed_edge = {dice.between(1, 300) * microsecond, certain / (20 + dice.up_to(200))};
  }
  for (FaultSpec& fault : chain.faults) {
    if (fault.kind != FaultClass::reset && dice.one_in(2))
      fault.while_balancing = static_cast<std::uint32_t>(dice.up_to(10));
  }
  ControllerSpec& controller = chain.controller;
  if (dice.one_in(2)) controller.pace = dice.between(100, 1500) * millisecond;
  if (dice.one_in(3)) controller.processor = some_processor(dice, false);
  controller.timer_first = dice.one_in(2);
  if (dice.one_in(4)) {
    controller.wrap.bits = 16;
    controller.wrap.starts_at = dice.up_to(65'000);
  }
  if (dice.one_in(2)) controller.exact_within_uv = dice.between(1'000, 20'000);
  const bool can_bleed = made.bus.name == "bench-frame" || made.bus.name == "old-style";
  if (can_bleed && !dice.one_in(4)) {
    BalancingSpec& balancing = controller.balancing;
    balancing.every = dice.between(1, 20) * second;
    balancing.start_uv = dice.between(3'000'000, 3'300'000);
    balancing.difference_uv = dice.between(0, 3'000);
    balancing.hysteresis_uv = balancing.difference_uv / 2;
    if (dice.one_in(3)) balancing.at_once = static_cast<std::uint32_t>(1 + dice.up_to(20));
    if (dice.one_in(3)) {
      balancing.on_for = dice.between(5, 60) * second;
      balancing.off_for = dice.between(5, 60) * second;
    }
    if (dice.one_in(3)) balancing.repeat_after = dice.between(5, 60) * second;
    if (dice.one_in(3)) balancing.forget_after = dice.between(5, 60) * second;
  }
  if (dice.one_in(3)) chain.start = {dice.between(1, 100) * 10 * second, dice.up_to(50), false, {}};
  // Later than the rest, so drawn apart: numbers that were found to matter still give what they gave.
  Dice more("physical scenario, more", number);
  BatterySpec& battery = chain.pack.battery;
  if (battery.present && more.one_in(2)) {
    battery.polarisation_uohm = more.between(100, 50'000);
    battery.polarisation_mf = more.between(5, 300) * second / battery.polarisation_uohm;
  }
  for (std::size_t node = 0; battery.present && node < chain.nodes.size(); ++node) {
    const std::uint32_t cells = chain.kinds[chain.nodes[node].kind].cells;
    if (more.one_in(4)) {
      battery.taps.push_back({static_cast<std::uint16_t>(node), static_cast<std::uint32_t>(more.up_to(cells)),
                              more.between(100'000, 8'000'000)});
    }
  }
  for (LinkSpec& link : chain.links) {
    for (RippleSpec* ripple : {&link.line_ripple, &link.switching_ripple}) {
      if (ripple->window == 0 || !more.one_in(2)) continue;
      ripple->wander_ppb = more.between(1'000, 20'000'000);
      ripple->wander_every = more.between(1, 60) * second;
    }
  }
  return made;
}

RandomScenario edgy_scenario(std::uint64_t number) {
  RandomScenario made = physical_scenario(1'000'000 + number);
  Dice dice("edgy scenario", number);
  ChainDescription& chain = made.chain;
  chain.name = "edgy " + std::to_string(number);
  chain.faults.clear();
  const bool noisy = dice.one_in(3);
  for (LinkSpec& link : chain.links) {
    if (!noisy) link.bit_error = 0;
    link.burst = {};
    link.contact = {};
    link.opens.clear();
    if (!dice.one_in(4)) link.pulse_stretch = 0;
  }
  const bool whole = !dice.one_in(4);
  for (KindSpec& kind : chain.kinds) {
    if (whole) {
      kind.forwarding = {};
      kind.forwarding.after = dice.between(20, 2000) * microsecond;
    }
    kind.processor = {};
    kind.sleep_after = 0;
    kind.clock.error_ppb /= 8;
    kind.board.brown_out_uv = 0;
    // They move now and then, not at every grid point.
    if (dice.one_in(2)) kind.board.clock_ppb_per_k = dice.between(-2'000'000, 2'000'000);
    kind.board.clock_step_ppb = dice.between(20'000, 2'000'000);
  }
  // Nodes of their own kinds: at the edge, with duties, asleep now and then.
  for (std::uint64_t i = 1 + dice.up_to(2); i > 0 && !chain.nodes.empty(); --i) {
    NodeSpec& node = chain.nodes[dice.up_to(chain.nodes.size() - 1)];
    KindSpec kind = chain.kinds[node.kind];
    kind.name += "-" + std::to_string(i);
    if (dice.one_in(2)) {
      const std::int64_t off = dice.between(30'000'000, 52'000'000);
      ClockSpec& clock = node.clock ? *node.clock : kind.clock;
      clock.oscillator_hz = 0;
      clock.error_ppb = dice.one_in(2) ? off : -off;
    }
    if (dice.one_in(2)) {
      kind.processor = some_processor(dice, true);
      if (!dice.one_in(3)) kind.processor.watchdog = 0;
    }
    if (dice.one_in(4)) {
      kind.sleep_after = dice.between(200, 3000) * millisecond;
      kind.wake_up = dice.between(0, 2'000) * microsecond;
    }
    node.kind = static_cast<std::uint16_t>(chain.kinds.size());
    chain.kinds.push_back(kind);
  }
  if (!dice.one_in(3)) chain.controller.processor = {};
  if (!dice.one_in(3)) chain.controller.wrap = {};
  chain.controller.time_out = std::max(chain.controller.time_out, 200 * millisecond);
  return made;
}

}  // namespace hopbench
