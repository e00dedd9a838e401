#include "pack/pack.h"

#include <cmath>

#include "pack/decay.h"
#include "support/catch.h"

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
  // Currents are whole milliamperes.
  CHECK(pack.bleed_drop_uv(0, 0, pack.now()) == Approx(2.0 * static_cast<double>(cell) / 35.0).margin(2'100));
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

}  // namespace hopbench
