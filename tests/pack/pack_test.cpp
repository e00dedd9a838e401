#include "pack/pack.h"

#include <cmath>

#include "pack/decay.h"
#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

BoardInfo board(std::string name, std::uint32_t cells) {
  BoardInfo info;
  info.name = std::move(name);
  info.cells = cells;
  return info;
}

void go(Pack& pack, Nanos span, std::vector<std::uint32_t> bleeding) {
  const std::vector<bool> none(bleeding.size(), false);
  for (const Nanos until = pack.now() + span; pack.now() < until;) pack.advance(bleeding, none);
}

PackSpec full_of(std::int64_t mah, std::int64_t ppm) {
  PackSpec spec;
  spec.battery.present = true;
  spec.battery.capacity_mah = mah;
  spec.battery.charge_ppm = ppm;
  spec.battery.cell_uohm = 0;
  return spec;
}

}  // namespace

TEST_CASE("a first-order lag has gone the shares of its way that the exponential says") {
  // 1 - exp(-t / tau), JESD51-1's thermal step in its simplest form; values are the function's own.
  const std::pair<int, double> rows[] = {{25, 0.221199},  {50, 0.393469},  {100, 0.632121}, {200, 0.864665},
                                         {300, 0.950213}, {400, 0.981684}, {500, 0.993262}};
  for (const auto& [hundredths, share] : rows) {
    const double got = static_cast<double>(decay_share(hundredths * second, 100 * second)) / 4294967296.0;
    CHECK(got == Approx(share).margin(1e-6));
    CHECK(std::abs(got - (1 - std::exp(-hundredths / 100.0))) < 1.0 / (1U << 30U));
  }
  CHECK(decay_share(0, second) == 0);
  CHECK(decay_share(1000 * second, second) == std::uint64_t{1} << 32U);
  // In steps of a fortieth of tau the same, and the end of the way is reached.
  std::int64_t at = 0;
  for (int i = 0; i < 40; ++i) at = decay_toward(at, 1'000'000, decay_share(second, 40 * second));
  CHECK(static_cast<double>(at) == Approx(632'121).margin(40));
  for (int i = 0; i < 2'000; ++i) at = decay_toward(at, 1'000'000, decay_share(second, 40 * second));
  CHECK(at == 1'000'000);
}

TEST_CASE("34 ohm bleed 100 mA at 3.4 V, and 10 hours of that are 1 Ah") {
  // Ohm's law; about 100 mA of passive balancing for each cell is common practice, no source.
  PackSpec spec = full_of(100'000, 991'500);
  BoardInfo info = board("n1", 2);
  info.spec.bleed_mohm = 34'000;
  Pack pack(spec, {info}, Luck(1), {});
  REQUIRE(static_cast<double>(pack.cell_uv(0, 0, 0)) / 1e6 == Approx(3.35).margin(0.05));
  go(pack, 36'000 * second, {0b01});
  const double ah = static_cast<double>(991'500 - pack.charge_ppm(0, 0)) / 1e6 * 100;
  // At the cell's own voltage, 3.32 to 3.35 V.
  CHECK(ah == Approx(3.33 / 34 * 10).epsilon(0.01));
  CHECK(pack.charge_ppm(0, 1) == Approx(991'500).margin(1));
}

TEST_CASE("sixteen cells bled at 34 ohm warm the whole board and a spot of it, and stop at its limit with hysteresis") {
  // 3.4 V on 34 ohm are 0.34 W, sixteen of them 5.44 W; a board of 300 cm2, both sides, some 3 K/W (10 W/m2K to still
  // air, from memory). Never sixteen times what one small board would rise.
  BoardInfo info = board("n1", 16);
  info.level_uv = 3'400'000;
  info.spec.bleed_mohm = 34'000;
  info.spec.rise_mk_per_w = 3'000;
  info.spec.heat_time = 300 * second;
  info.spec.hot_spot_mk_per_w = 60'000;
  info.spec.bleed_stop_mc = 60'000;
  info.spec.bleed_again_mc = 35'000;
  Pack pack({}, {info}, Luck(1), {});
  CHECK(pack.board(0).board_mc == 25'000);
  go(pack, 300 * second, {0xffff});
  CHECK(pack.board(0).board_mc == Approx(25'000 + 0.632121 * 16'320).margin(20));
  CHECK(pack.board(0).hottest_mc - pack.board(0).board_mc == Approx(20'400).margin(20));
  CHECK_FALSE(pack.board(0).too_hot);  // the spot is at 55.7 degrees
  go(pack, 3'000 * second, {0xffff});
  CHECK(pack.board(0).board_mc == Approx(25'000 + 16'320).margin(10));
  CHECK(pack.board(0).too_hot);
  go(pack, 100 * second, {0});
  CHECK(pack.board(0).board_mc > 35'000);
  CHECK(pack.board(0).too_hot);
  go(pack, 200 * second, {0});
  CHECK(pack.board(0).board_mc < 35'000);
  CHECK_FALSE(pack.board(0).too_hot);
}

TEST_CASE("what the charger gives is what the cells have, no cell ever stands above the absorption voltage") {
  PackSpec spec = full_of(10'000, 900'000);
  spec.battery.charge_spread_ppm = 20'000;
  spec.battery.cell_uohm = 3'000;
  spec.cycle.charge_ma = 2'000;
  spec.cycle.charge_for = 10 * 3600 * second;
  spec.cycle.done_ma = 20;
  Pack pack(spec, {board("a", 8), board("b", 8)}, Luck(4), {});
  const std::int64_t before = pack.charge_ppm(1, 3);
  std::int64_t ma_steps = 0;
  bool absorbed = false;
  for (int i = 0; i < 3'600; ++i) {
    ma_steps += pack.charge_ma();
    pack.advance(std::vector<std::uint32_t>{0, 0}, std::vector<bool>{false, false});
    for (std::size_t b = 0; b < 2; ++b) {
      for (std::uint32_t cell = 0; cell < 8; ++cell) REQUIRE(pack.cell_uv(b, cell, pack.now()) <= 3'550'000);
    }
    absorbed = absorbed || (pack.charging() && pack.charge_ma() < 2'000);
  }
  CHECK(absorbed);
  CHECK_FALSE(pack.charging());
  const double expected_ppm = static_cast<double>(ma_steps) * 10 / 3600 / 10'000 * 1e6;
  CHECK(static_cast<double>(pack.charge_ppm(1, 3) - before) == Approx(expected_ppm).margin(2));
}

TEST_CASE("a bad tap takes supply away by what the board draws and what is bled through it") {
  PackSpec spec = full_of(10'000, 500'000);
  spec.battery.taps = {{0, 0, 2'000'000}};
  BoardInfo info = board("n1", 1);
  info.spec.bleed_mohm = 33'000;
  info.spec.supply_ma = 10;
  info.spec.inrush_ma = 50;
  info.spec.brown_out_uv = 3'100'000;
  info.spec.brown_in_uv = 3'200'000;
  Pack pack(spec, {info}, Luck(1), {});
  const std::int64_t cell = pack.cell_uv(0, 0, 0);
  CHECK(pack.board(0).supply_uv == cell - 20'000);  // 10 mA through 2 ohm
  CHECK_FALSE(pack.board(0).browned_out);
  go(pack, Pack::step, {1});
  CHECK(pack.board(0).supply_uv == Approx(static_cast<double>(cell) * 33.0 / 35.0 - 20'000).margin(3'000));
  CHECK(pack.board(0).browned_out);
  pack.advance(std::vector<std::uint32_t>{0}, std::vector<bool>{true});
  CHECK(pack.board(0).supply_uv == Approx(static_cast<double>(cell - 120'000)).margin(3'000));  // starting: 60 mA
  CHECK(pack.board(0).browned_out);  // not yet above the second limit
  pack.advance(std::vector<std::uint32_t>{0}, std::vector<bool>{false});
  CHECK_FALSE(pack.board(0).browned_out);
  // By hand: i = (cell - 10 mA x 2 ohm) / 35 ohm, and 2 ohm of that are lost.
  const auto seen = static_cast<double>(pack.seen_uv(0, 0, pack.now()));
  CHECK(seen == Approx(static_cast<double>(pack.cell_uv(0, 0, pack.now())) - 20'000).margin(2));
  CHECK(pack.bleed_drop_uv(0, 0, 1, pack.now()) == Approx(2.0 / 35.0 * seen).margin(4));
  CHECK(pack.bleed_drop_uv(0, 0, 0, pack.now()) == 0);
}

TEST_CASE("a cell is seen too high beside one that is bled through the tap that they share") {
  PackSpec spec = full_of(10'000, 500'000);
  spec.battery.taps = {{0, 1, 2'000'000}, {0, 3, 1'000'000}};
  BoardInfo info = board("n1", 3);
  info.spec.bleed_mohm = 33'000;
  info.spec.supply_ma = 10;
  const Pack pack(spec, {info}, Luck(1), {});
  const auto cell = static_cast<double>(pack.cell_uv(0, 0, 0));
  CHECK(pack.bleed_drop_uv(0, 0, 0b001, 0) == Approx(cell * 2 / 35).margin(4));
  CHECK(pack.bleed_drop_uv(0, 1, 0b001, 0) == Approx(-cell * 2 / 35).margin(4));
  CHECK(pack.bleed_drop_uv(0, 2, 0b001, 0) == 0);
  // The tap above the last cell: 10 mA x 1 ohm.
  CHECK(pack.seen_uv(0, 2, 0) == pack.cell_uv(0, 2, 0) - 10'000);
  CHECK(pack.board(0).supply_uv == 3 * pack.cell_uv(0, 0, 0) - 10'000);
}

TEST_CASE("a board's own current discharges the cells that it watches") {
  // 10 mA for 100 h are 1 Ah, of each of them; the board of the other cell draws nothing.
  BoardInfo info = board("n1", 3);
  info.spec.supply_ma = 10;
  Pack pack(full_of(20'000, 600'000), {info, board("n2", 1)}, Luck(1), {});
  go(pack, 360'000 * second, {0, 0});
  for (std::uint32_t cell = 0; cell < 3; ++cell) CHECK(pack.charge_ppm(0, cell) == Approx(550'000).margin(1));
  CHECK(pack.charge_ppm(1, 0) == 600'000);
}

TEST_CASE("polarisation follows a step of the current as a resistance and a capacitance in parallel do") {
  // Closed form of that circuit: i R (1 - exp(-t / RC)) from the step on, and i R exp(-t / RC) after its end.
  // 2 mohm x 300 kF = 600 s.
  PackSpec spec = full_of(1'000'000, 500'000);
  spec.cycle.load_ma = 50'000;
  spec.cycle.load_for = 1'800 * second;
  PackSpec without = spec;
  spec.battery.polarisation_uohm = 2'000;
  spec.battery.polarisation_mf = 300'000'000;
  Pack pack(spec, {board("n1", 1)}, Luck(1), {});
  Pack plain(without, {board("n1", 1)}, Luck(1), {});
  for (int t = 0; t <= 7'200; t += 10) {
    const double during = -0.1 * (1 - std::exp(-std::min(t, 1'800) / 600.0));
    const double closed_form = t <= 1'800 ? during : during * std::exp(-(t - 1'800) / 600.0);
    const double got = static_cast<double>(pack.cell_uv(0, 0, pack.now()) - plain.cell_uv(0, 0, plain.now())) / 1e6;
    INFO(t);
    REQUIRE(got == Approx(closed_form).margin(3e-6));
    go(pack, Pack::step, {0});
    go(plain, Pack::step, {0});
  }
}

TEST_CASE("with polarisation the current of the absorption dies away over minutes, and no cell goes above it") {
  // Near full 1 A raises a cell of 100 Ah by 0.09 mV/s (the curve's last percent), so 40 mV that die away within 600 s
  // leave room for some 0.8 A at first, and that dies away with them: 100 mA after about two time constants.
  PackSpec spec = full_of(100'000, 960'000);
  spec.cycle.charge_ma = 20'000;
  spec.cycle.charge_for = 8 * 3600 * second;
  spec.cycle.done_ma = 100;
  spec.battery.cell_uohm = 300;
  const auto absorbs_for = [&](const PackSpec& each) {
    Pack pack(each, {board("n1", 4)}, Luck(1), {});
    Nanos tail = 0;
    for (int i = 0; i < 2'880; ++i) {
      go(pack, Pack::step, {0});
      REQUIRE(pack.cell_uv(0, 0, pack.now()) <= 3'550'000);
      if (pack.charging() && pack.charge_ma() < 20'000) tail += Pack::step;
    }
    REQUIRE(pack.charged());
    return tail;
  };
  const Nanos plain = absorbs_for(spec);
  spec.battery.polarisation_uohm = 3'000;  // x 200 kF = 600 s
  spec.battery.polarisation_mf = 200'000'000;
  const Nanos polarised = absorbs_for(spec);
  CHECK(plain < 120 * second);
  CHECK(polarised > 600 * second);
}

TEST_CASE("the clock follows temperature and supply in steps, and what was measured before is as it was then") {
  PackSpec spec;
  spec.air.mean_mc = 35'000;
  BoardInfo info = board("n1", 1);
  info.spec.clock_ppb_per_k = -800'000;
  info.spec.clock_step_ppb = 50'000;
  CHECK(Pack(spec, {info}, Luck(1), {}).board(0).clock_ppb == -8'000'000);
  info.spec.clock_ppb_per_v = 1'000'000;
  info.spec.clock_at_uv = 3'000'000;
  CHECK(Pack(spec, {info}, Luck(1), {}).board(0).clock_ppb == -7'700'000);

  PackSpec used = full_of(1'000, 960'000);
  used.cycle.load_ma = 1'000;
  used.cycle.load_for = 3'600 * second;
  Pack pack(used, {board("n1", 1)}, Luck(1), {});
  std::vector<std::int64_t> then;
  for (int i = 0; i < 20; ++i) {
    then.push_back(pack.cell_uv(0, 0, pack.now()));
    go(pack, Pack::step, {0});
  }
  for (int i = 0; i < 20; ++i)
    CHECK(pack.cell_uv(0, 0, i * Pack::step + 3 * second) == then[static_cast<std::size_t>(i)]);
  CHECK(then.back() < then.front());
}

TEST_CASE("luck of cells goes by the names of their boards, not by their places") {
  PackSpec spec = full_of(10'000, 500'000);
  spec.battery.charge_spread_ppm = 50'000;
  const Pack both(spec, {board("a", 2), board("b", 2)}, Luck(1), {});
  const Pack one(spec, {board("b", 2)}, Luck(1), {});
  CHECK(one.charge_ppm(0, 0) == both.charge_ppm(1, 0));
  CHECK(one.charge_ppm(0, 1) == both.charge_ppm(1, 1));
  CHECK(both.charge_ppm(0, 0) != both.charge_ppm(1, 0));
}

TEST_CASE("the most that a scenario can state stays within the arithmetic") {
  PackSpec spec = full_of(1, 1'000'000);
  spec.battery.cell_uohm = 100'000'000;
  spec.battery.tap_uohm = 100'000'000;
  spec.battery.polarisation_uohm = 100'000'000;
  spec.battery.polarisation_mf = 1'000;
  spec.battery.leakage_ua = 1'000'000'000;
  spec.cycle = {60 * second, 1'000'000, 0, 60 * second, 0, 0, 0, 10'000'000, 0};
  PackSpec charged = spec;
  charged.cycle = {60 * second, 0, 0, 0, 1'000'000, 0, 60 * second, 10'000'000, 0};
  BoardInfo info = board("n1", 16);
  info.spec.bleed_mohm = 100;
  info.spec.idle_uw = 1'000'000'000;
  info.spec.rise_mk_per_w = 1'000'000;
  info.spec.heat_time = second;
  info.spec.hot_spot_mk_per_w = 1'000'000;
  info.spec.supply_ma = 1'000'000;
  info.spec.inrush_ma = 1'000'000;
  info.spec.clock_ppb_per_k = 200'000'000;
  info.spec.clock_ppb_per_v = -200'000'000;
  for (const PackSpec& each : {spec, charged}) {
    Pack pack(each, {info}, Luck(1), {});
    go(pack, 3'600 * second, {0xffff});
    CHECK(pack.board(0).board_mc <= 1'000'000);
    CHECK(pack.board(0).hottest_mc <= 1'000'000);
    CHECK(std::abs(pack.board(0).clock_ppb) <= 200'000'000);
    CHECK(pack.cell_uv(0, 0, pack.now()) >= 0);
    CHECK(pack.cell_uv(0, 0, pack.now()) <= 10'000'000);
  }
}

TEST_CASE("a pack that is put back goes on as it would have, whatever is bled") {
  std::size_t done = 0;
  for (std::uint64_t number = 0; number < 60; ++number) {
    Dice dice("pack put back", number);
    PackSpec spec = full_of(dice.between(20, 300), dice.between(300'000, 990'000));
    spec.battery.present = !dice.one_in(6);
    spec.battery.cell_uohm = dice.between(100, 30'000);
    spec.battery.charge_spread_ppm = 20'000;
    spec.battery.tap_uohm = dice.between(0, 500'000);
    if (dice.one_in(2)) {
      spec.battery.polarisation_uohm = dice.between(100, 30'000);
      spec.battery.polarisation_mf = dice.between(10, 600) * second / spec.battery.polarisation_uohm;
    }
    spec.cycle = {300 * second, 500, 0, 100 * second, dice.between(500, 4'000), 120 * second, 160 * second};
    spec.cycle.done_ma = spec.cycle.charge_ma / 20;
    spec.air.swing_mc = 10'000;
    BoardInfo info = board("n1", 3);
    info.spec.bleed_mohm = dice.between(2'000, 20'000);
    info.spec.idle_uw = 500'000;
    info.spec.rise_mk_per_w = 20'000;
    info.spec.heat_time = 50 * second;
    info.spec.hot_spot_mk_per_w = 20'000;
    info.spec.bleed_stop_mc = dice.between(30'000, 60'000);
    info.spec.bleed_again_mc = info.spec.bleed_stop_mc - 3'000;
    info.spec.supply_ma = 20;
    info.spec.brown_out_uv = 9'900'000;
    info.spec.brown_in_uv = 9'950'000;
    info.spec.clock_ppb_per_k = 300'000;
    Pack pack(spec, {info}, Luck(1), {});
    for (int step = 0; step < 120; ++step) {
      Archive down;
      pack.keep(down);
      Pack other(spec, {info}, Luck(1), {});  // as new, so that all must come from what was kept
      REQUIRE(down.good());
      Archive back(down.bytes());
      other.keep(back);
      REQUIRE(back.why() == "");
      // For a while both go on by themselves.
      for (std::uint64_t more = dice.up_to(4); more < 5; ++more, ++step) {
        REQUIRE(other.now() == pack.now());
        REQUIRE(other.board(0) == pack.board(0));
        REQUIRE(other.charge_ma() == pack.charge_ma());
        REQUIRE(other.charging() == pack.charging());
        REQUIRE(other.charged() == pack.charged());
        for (std::uint32_t cell = 0; cell < 3; ++cell) {
          const Nanos at = pack.now() - dice.between(0, 40) * Pack::step;
          REQUIRE(other.charge_ppm(0, cell) == pack.charge_ppm(0, cell));
          REQUIRE(other.cell_uv(0, cell, at) == pack.cell_uv(0, cell, at));
        }
        done += pack.charged() ? 1U : 0U;
        const std::vector<std::uint32_t> bleeding{pack.board(0).too_hot ? 0U
                                                                        : static_cast<std::uint32_t>(dice.up_to(7))};
        const std::vector<bool> starting{dice.one_in(9)};
        pack.advance(bleeding, starting);
        other.advance(bleeding, starting);
      }
    }
  }
  CHECK(done > 100);
}

}  // namespace hopbench
