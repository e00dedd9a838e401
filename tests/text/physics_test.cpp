// What a scenario says of the battery, boards, processors, coupling and balancing: that it arrives, and that what is
// wrong is told in one line.
#include <set>

#include "support/catch.h"
#include "text/bench.h"

using namespace hopbench;
using bench::load_good;

namespace {

struct Parts {
  std::string battery = R"(capacity: "20Ah" capacity_spread: "1%" charge: "97%" charge_spread: "5000ppm"
    cell_resistance: "3mohm" tap_resistance: "20000uohm" leakage: "3mA" leakage_spread: "500uA"
    tap { node: "x2" cell: 3 resistance: "1.5ohm" } tap { node: "x1" cell: 8 resistance: "1ohm" }
    polarisation_resistance: "2mohm" polarisation_capacitance: "300kF")";
  std::string cycle = R"(period: "12h" load: "1.5A" load_from: "1h" load_for: "2h" charge: "3A" charge_from: "4h"
    charge_for: "6h" absorb: "3.6V" done: "100mA")";
  std::string kind = R"(bleed { resistor: "33ohm" duty: "80%" chop_period: "4ms" stop_at: "60C" }
    heat { idle: "50mW" rise: "3K/W" time: "8min" hot_spot: "30K/W" }
    supply { current: "10mA" inrush: "60mA" brown_out: "20.5V" }
    clock { error: "1%" per_kelvin: "-800ppm" per_volt: "100ppm" at_volts: "26.4V" step: "20ppm" }
    processor { fifo_chars: 4 watchdog: "250ms"
      duty { name: "d" every: "2s" takes: "5ms" takes_up_to: "9ms" per_bleeding_cell: "1ms" jitter: "10ms" masks: true } }
    sleep_after: "2s" wake_up: "1ms" holds_line: true measurement { settle: "4ms" bleed: KEPT_ON })";
  std::string hop =
      R"(lows_shorter: "200ns" line_ripple { window: "1ms" bit_error: "1e-4" wander: "0.1%" wander_every: "90s" }
    switching_ripple { period: "50us" window: "2us" bit_error: "1e-5" } bleed_edge { window: "20us" bit_error: "1e-3" })";
  std::string controller =
      R"(time_out: "300ms" timer_first: true clock_wrap { bits: 32 starts_at: 7 } exact_within: "2mV"
    processor { duty { name: "web" every: "1s" takes: "9ms" } }
    balancing { every: "1min" start: "3.38V" difference: "8mV" hysteresis: "3mV" at_once: 5 on_for: "50s" off_for: "10s"
      repeat_after: "10min" forget_after: "2min" })";

  [[nodiscard]] std::string text() const {
    return "name: \"t\" bus: \"bench-frame\" kind { name: \"k\" cells: 8 " + kind +
           " }\nnodes { name: \"x\" count: 2 kind: \"k\" }\nbattery { " + battery + " }\ncycle { " + cycle +
           " }\nair { mean: \"-5.5C\" swing: \"8C\" warmest: \"15h\" }\nevery_hop { " + hop + " }\ncontroller { " +
           controller + "\n  poll { name: \"p\" topic: \"nameplate\" nodes: \"*\" } }\n";
  }
};

std::string replaced(std::string text, const std::string& what, const std::string& with) {
  const auto at = text.find(what);
  REQUIRE(at != std::string::npos);
  return text.replace(at, what.size(), with);
}

}  // namespace

TEST_CASE("battery, boards, processors, coupling and balancing arrive as stated") {
  const ChainDescription chain = load_good(Parts{}.text()).chain;
  const BatterySpec& battery = chain.pack.battery;
  CHECK(battery.present);
  CHECK(battery.capacity_mah == 20'000);
  CHECK(battery.capacity_spread_ppm == 10'000);
  CHECK(battery.charge_ppm == 970'000);
  CHECK(battery.charge_spread_ppm == 5'000);
  CHECK(battery.cell_uohm == 3'000);
  CHECK(battery.tap_uohm == 20'000);
  CHECK(battery.leakage_ua == 3'000);
  CHECK(battery.leakage_spread_ua == 500);
  REQUIRE(battery.taps.size() == 2);
  CHECK(battery.taps[0].board == 1);
  CHECK(battery.taps[0].cell == 3);
  CHECK(battery.taps[0].uohm == 1'500'000);
  CHECK(battery.taps[1].board == 0);
  CHECK(battery.taps[1].cell == 8);  // above the last
  CHECK(battery.polarisation_uohm == 2'000);
  CHECK(battery.polarisation_mf == 300'000'000);
  const CycleSpec& cycle = chain.pack.cycle;
  CHECK(cycle.period == 43'200 * second);
  CHECK(cycle.load_ma == 1'500);
  CHECK(cycle.load_from == 3'600 * second);
  CHECK(cycle.charge_for == 21'600 * second);
  CHECK(cycle.absorb_uv == 3'600'000);
  CHECK(cycle.done_ma == 100);
  CHECK(chain.pack.air.mean_mc == -5'500);
  CHECK(chain.pack.air.swing_mc == 8'000);
  CHECK(chain.pack.air.warmest == 54'000 * second);

  const KindSpec& kind = chain.kinds[0];
  CHECK(kind.board.bleed_mohm == 33'000);
  CHECK(kind.board.bleed_duty_ppm == 800'000);
  CHECK(kind.board.chop_period == 4 * millisecond);
  CHECK(kind.board.bleed_stop_mc == 60'000);
  CHECK(kind.board.bleed_again_mc == 55'000);
  CHECK(kind.board.idle_uw == 50'000);
  CHECK(kind.board.rise_mk_per_w == 3'000);
  CHECK(kind.board.heat_time == 480 * second);
  CHECK(kind.board.hot_spot_mk_per_w == 30'000);
  CHECK(kind.board.supply_ma == 10);
  CHECK(kind.board.brown_out_uv == 20'500'000);
  CHECK(kind.board.brown_in_uv == 20'900'000);
  CHECK(kind.board.clock_ppb_per_k == -800'000);
  CHECK(kind.board.clock_ppb_per_v == 100'000);
  CHECK(kind.board.clock_at_uv == 26'400'000);
  CHECK(kind.board.clock_step_ppb == 20'000);
  CHECK(kind.processor.fifo_chars == 4);
  CHECK(kind.processor.watchdog == 250 * millisecond);
  REQUIRE(kind.processor.duties.size() == 1);
  CHECK(kind.processor.duties[0].takes_up_to == 9 * millisecond);
  CHECK(kind.processor.duties[0].per_bleeding_cell == millisecond);
  CHECK(kind.processor.duties[0].masks);
  CHECK(kind.sleep_after == 2 * second);
  CHECK(kind.wake_up == millisecond);
  CHECK(kind.holds_line);
  CHECK(kind.measurement.bleed == BleedWhile::kept_on);

  const LinkSpec& link = chain.links[1];
  CHECK(link.pulse_stretch == -200);
  CHECK(link.line_ripple.period == 10 * millisecond);
  CHECK(link.line_ripple.window == millisecond);
  CHECK(link.line_ripple.wander_ppb == 1'000'000);
  CHECK(link.line_ripple.wander_every == 90 * second);
  CHECK(link.switching_ripple.period == 50 * microsecond);
  CHECK(link.switching_ripple.wander_ppb == 0);
  CHECK(link.bleed_edge.window == 20 * microsecond);
  CHECK(link.bleed_edge.bit_error == certain / 1000);

  const ControllerSpec& controller = chain.controller;
  CHECK(controller.timer_first);
  CHECK(controller.wrap.bits == 32);
  CHECK(controller.wrap.starts_at == 7);
  CHECK(controller.exact_within_uv == 2'000);
  CHECK(controller.processor.duties.size() == 1);
  CHECK(controller.balancing.every == 60 * second);
  CHECK(controller.balancing.start_uv == 3'380'000);
  CHECK(controller.balancing.hysteresis_uv == 3'000);
  CHECK(controller.balancing.at_once == 5);
  CHECK(controller.balancing.off_for == 10 * second);
  CHECK(controller.balancing.forget_after == 120 * second);
}

TEST_CASE("what is wrong with the physics is told in one line that says what would be right") {
  struct Wrong {
    const char* what;
    const char* with;
    const char* words;
  };
  const Wrong wrongs[] = {
      {"\"20Ah\"", "\"20\"", "write a number and a unit, for example \"100Ah\""},
      {"\"20Ah\"", "\"2000Ah\"", "1 mAh to 1000 Ah"},
      {"\"3mohm\"", "\"3kg\"", "is no resistance"},
      {"\"3mohm\"", "\"200ohm\"", "100 ohm at most"},
      {"node: \"x2\"", "node: \"x9\"", "there is no node \"x9\""},
      {"cell: 3", "cell: 9", "x2 has cells 0 to 7, and 8 for the tap above the last, not 9"},
      {"polarisation_resistance: \"2mohm\" ", "", "go together"},
      {"\"300kF\"", "\"300\"", "is no capacitance"},
      {"\"300kF\"", "\"300MF\"", "is 1d at most"},
      {"\"0.1%\"", "\"-0.1%\"", "wander is 0 to 2%"},
      {"\"90s\"", "\"0.5s\"", "wander_every must be at least 1s"},
      {"\"33ohm\"", "\"1mohm\"", "at least 0.1ohm"},
      {"stop_at: \"60C\"", "stop_at: \"60C\" again_below: \"61C\"", "again_below is above stop_at"},
      {"\"-800ppm\"", "\"-800\"", "is no clock error"},
      {" at_volts: \"26.4V\"", "", "per_volt needs at_volts"},
      {"charge_for: \"6h\"", "charge_for: \"9h\"", "beyond the end of the period"},
      {"every: \"2s\" takes: \"5ms\"", "every: \"20ms\" takes: \"5ms\"", "more than half of every"},
      {"takes_up_to: \"9ms\"", "takes_up_to: \"1ms\"", "shorter than takes"},
      {"every: \"2s\" ", "", "a duty needs every"},
      {"lows_shorter: \"200ns\"", "lows_shorter: \"200ns\" lows_longer: \"1ns\"", "not both"},
      {"window: \"1ms\" bit_error: \"1e-4\"", "window: \"1ms\"", "needs window and bit_error"},
      {"window: \"1ms\"", "window: \"11ms\"", "longer than period"},
      {"bits: 32", "bits: 7", "bits must be 8 to 63, not 7"},
      {"starts_at: 7", "starts_at: 4294967296", "below 2^32"},
      {"hysteresis: \"3mV\"", "hysteresis: \"9mV\"", "hysteresis is more than difference"},
      {"on_for: \"50s\"", "", "on_for and off_for go together"},
      {"duty { name: \"web\" every: \"1s\"", "watchdog: \"1s\" duty { name: \"web\" every: \"1s\"", "nodes only"},
      {"sleep_after: \"2s\" ", "", "wake_up means nothing without sleep_after"},
      {"balancing { every: \"1min\"", "balancing { topic: \"bled\" every: \"1min\"", "no topic \"bled\""},
  };
  const std::string good = Parts{}.text();
  for (const Wrong& wrong : wrongs) {
    INFO(wrong.what << " -> " << wrong.with);
    const auto problems = bench::load(replaced(good, wrong.what, wrong.with)).problems;
    REQUIRE_FALSE(problems.empty());
    CHECK(problems.front().what.find(wrong.words) != std::string::npos);
    INFO(problems.front().what);
    CHECK(problems.size() == 1);
  }
}

TEST_CASE("where a run begins is taken, and told in one line if it is wrong") {
  const std::string begins = R"(begins { after: "49d" round: 12 standing { node: "x2" charge: "91.2345%" charge: "50%"
    charge: "50%" charge: "50%" charge: "50%" charge: "50%" charge: "50%" charge: "105%" board: "-3.25C" } })";
  const std::string good = Parts{}.text() + begins;
  const auto loaded = bench::load(good);
  REQUIRE(loaded.problems.empty());
  const StartSpec& start = loaded.scenario->chain.start;
  CHECK(start.at == 49 * 86'400 * second);
  CHECK(start.round == 12);
  REQUIRE(start.nodes.size() == 1);
  CHECK(start.nodes[0].charge_ppm ==
        std::vector<std::int64_t>{912'345, 500'000, 500'000, 500'000, 500'000, 500'000, 500'000, 1'050'000});
  CHECK(start.nodes[0].board_mc == -3'250);
  struct Wrong {
    const char* what;
    const char* with;
    const char* words;
  };
  const Wrong wrongs[] = {
      {"\"49d\"", "\"4233601s\"", "whole steps of 10s"},
      {"\"49d\"", "\"49\"", "49"},
      {"standing { node: \"x2\"", "standing { node: \"x9\"", "there is no node \"x9\""},
      {"charge: \"91.2345%\"", "", "x2 has 8 cells, and 7 charges stand here"},
      {"\"91.2345%\"", "\"106%\"", "0 to 105%"},
      {"\"-3.25C\"", "\"-3.25\"", "is no temperature"},
      {"round: 12", "round: 1000000000000001", "10^15 at most"},
      {"standing {", "standing { node: \"x2\" } standing {", "stands here twice"},
  };
  for (const Wrong& wrong : wrongs) {
    INFO(wrong.what << " -> " << wrong.with);
    const auto problems = bench::load(replaced(good, wrong.what, wrong.with)).problems;
    REQUIRE_FALSE(problems.empty());
    INFO(problems.front().what);
    CHECK(problems.front().what.find(wrong.words) != std::string::npos);
    CHECK(problems.size() == 1);
  }
}

TEST_CASE("a scenario with a tap and without any kind is told that it needs one") {
  std::string text = Parts{}.text();
  const auto kind = text.find("kind { name");
  text.erase(kind, text.find("nodes {") - kind);
  const bench::Loaded loaded = bench::load(text);
  REQUIRE(has_errors(loaded.problems));
  CHECK(loaded.shown.find("the scenario needs at least one kind of node") != std::string::npos);
}
