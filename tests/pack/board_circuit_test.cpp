// The circuit of a board against Kirchhoff's laws, written out here by nodes; the code solves it by loops.
#include "pack/board_circuit.h"

#include <array>
#include <cmath>
#include <vector>

#include "support/catch.h"
#include "support/dice.h"

using namespace hopbench;

namespace {

constexpr double micro = 1e-6;

struct Bench {
  std::vector<std::int64_t> rest_uv;
  std::vector<std::int64_t> tap_uohm;
  std::int64_t cell_uohm = 0;
  std::int64_t bleed_uohm = 33'000'000;
  std::int64_t own_ua = 0;

  [[nodiscard]] BoardCircuit circuit() const { return {tap_uohm, cell_uohm, bleed_uohm, own_ua}; }
  [[nodiscard]] std::vector<std::int64_t> bled_ua(std::uint32_t closed) const {
    std::vector<std::int64_t> ua(rest_uv.size());
    circuit().bled_ua(rest_uv, closed, ua);
    return ua;
  }
  [[nodiscard]] double volts(std::uint32_t closed, std::uint32_t cell) const {
    return static_cast<double>(circuit().seen_uv(rest_uv, bled_ua(closed), cell)) * micro;
  }
  [[nodiscard]] double amperes(std::uint32_t closed, std::size_t cell) const {
    return static_cast<double>(bled_ua(closed)[cell]) * micro;
  }
};

/// Solves a x = b, by elimination with the largest pivot.
std::vector<double> solved(std::vector<std::vector<double>> a, std::vector<double> b) {
  const std::size_t n = b.size();
  for (std::size_t column = 0; column < n; ++column) {
    std::size_t pivot = column;
    for (std::size_t row = column; row < n; ++row) {
      if (std::abs(a[row][column]) > std::abs(a[pivot][column])) pivot = row;
    }
    std::swap(a[column], a[pivot]);
    std::swap(b[column], b[pivot]);
    for (std::size_t row = 0; row < n; ++row) {
      if (row == column) continue;
      const double factor = a[row][column] / a[column][column];
      for (std::size_t i = column; i < n; ++i) a[row][i] -= factor * a[column][i];
      b[row] -= factor * b[column];
    }
  }
  for (std::size_t i = 0; i < n; ++i) b[i] /= a[i][i];
  return b;
}

/// Potentials of the board's ends of its taps, with the current that flows out of each node summed up to nothing.
/// Nodes 0 to n: between the cells, node 0 at 0 V and in no equation; n + 1 to 2n + 1: the board's ends.
std::vector<double> by_nodes(const Bench& bench, std::uint32_t closed) {
  const std::size_t n = bench.rest_uv.size();
  std::vector<std::vector<double>> a(2 * n + 2, std::vector<double>(2 * n + 2, 0));
  std::vector<double> b(2 * n + 2, 0);
  const auto conductance = [&](std::size_t from, std::size_t to, double siemens) {
    a[from][from] += siemens;
    a[to][to] += siemens;
    a[from][to] -= siemens;
    a[to][from] -= siemens;
  };
  for (std::size_t cell = 0; cell < n; ++cell) {
    // At rest the board's own current goes through the cell already: its source is higher by what that loses within.
    const double inner = static_cast<double>(bench.cell_uohm) * micro;
    const double source =
        static_cast<double>(bench.rest_uv[cell]) * micro + inner * static_cast<double>(bench.own_ua) * micro;
    conductance(cell, cell + 1, 1 / inner);
    b[cell + 1] += source / inner;
    b[cell] -= source / inner;
    if ((closed >> cell & 1U) != 0)
      conductance(n + 1 + cell, n + 2 + cell, 1 / (static_cast<double>(bench.bleed_uohm) * micro));
  }
  for (std::size_t tap = 0; tap <= n; ++tap)
    conductance(tap, n + 1 + tap, 1 / (static_cast<double>(bench.tap_uohm[tap]) * micro));
  b[2 * n + 1] -= static_cast<double>(bench.own_ua) * micro;
  b[n + 1] += static_cast<double>(bench.own_ua) * micro;
  a[0].assign(2 * n + 2, 0);
  a[0][0] = 1;
  b[0] = 0;
  auto potentials = solved(a, b);
  potentials.erase(potentials.begin(), potentials.begin() + static_cast<std::ptrdiff_t>(n + 1));
  return potentials;
}

}  // namespace

TEST_CASE("a bleed, its taps and the cell are in series: a divider") {
  // A single cell of 3.286 V, 33 ohm of bleed, 33 ohm of tap: half of it each, 1.643 V; 3.286 V / 66 ohm = 49.79 mA.
  const Bench bad{{3'286'000}, {33'000'000, 0}};
  CHECK(bad.volts(1, 0) == Approx(1.643).margin(2e-6));
  CHECK(bad.amperes(1, 0) == Approx(3.286 / 66).margin(1e-6));
  CHECK(bad.volts(0, 0) == Approx(3.286).margin(1e-6));
  // All of them: 3.3 V / (33 + 2 + 1 + 0.5) ohm.
  const Bench all{{3'300'000}, {2'000'000, 1'000'000}, 500'000};
  CHECK(all.amperes(1, 0) == Approx(3.3 / 36.5).margin(1e-6));
  CHECK(all.volts(1, 0) == Approx(3.3 * 33 / 36.5).margin(2e-6));
}

TEST_CASE("a tap between two cells carries the difference of their bleeds") {
  // Only the middle tap is bad, 10 ohm. One cell bled: 3.3 / 43; the cell beside it reads higher by what the tap loses.
  const Bench two{{3'300'000, 3'300'000}, {0, 10'000'000, 0}};
  CHECK(two.amperes(0b01, 0) == Approx(3.3 / 43).margin(1e-6));
  CHECK(two.volts(0b01, 0) == Approx(3.3 * 33 / 43).margin(2e-6));
  CHECK(two.volts(0b01, 1) == Approx(3.3 + 10 * 3.3 / 43).margin(2e-6));
  // Both: equal cells send nothing through it, and both read right.
  CHECK(two.amperes(0b11, 0) == Approx(0.1).margin(1e-6));
  CHECK(two.volts(0b11, 0) == Approx(3.3).margin(2e-6));
  CHECK(two.volts(0b11, 1) == Approx(3.3).margin(2e-6));
  // Unequal ones, by loops: 43 i0 - 10 i1 = 3.4, 43 i1 - 10 i0 = 3.2. Cramer's rule: determinant 43 x 43 - 100.
  const Bench unequal{{3'400'000, 3'200'000}, {0, 10'000'000, 0}};
  CHECK(unequal.amperes(0b11, 0) == Approx((3.4 * 43 + 3.2 * 10) / 1749).margin(1e-6));
  CHECK(unequal.amperes(0b11, 1) == Approx((3.2 * 43 + 3.4 * 10) / 1749).margin(1e-6));
}

TEST_CASE("the board's own current goes there and back, through the outermost taps only") {
  // 10 mA through 2 ohm above and 1 ohm below: 20 mV and 10 mV.
  const Bench one{{3'300'000}, {1'000'000, 2'000'000}, 0, 0, 10'000};
  CHECK(one.volts(0, 0) == Approx(3.27).margin(2e-6));
  const Bench three{{3'300'000, 3'300'000, 3'300'000}, {1'000'000, 5'000'000, 5'000'000, 2'000'000}, 0, 0, 10'000};
  CHECK(three.volts(0, 0) == Approx(3.29).margin(2e-6));
  CHECK(three.volts(0, 1) == Approx(3.3).margin(2e-6));
  CHECK(three.volts(0, 2) == Approx(3.28).margin(2e-6));
  // Two cells of 3.2864 V, 20 ohm at each tap, 33 ohm, 10 mA, the lower cell bled: 33 i = 3.2864 - 20 i - 20 (i +
  // 0.01).
  const Bench both{{3'286'400, 3'286'400}, {20'000'000, 20'000'000, 20'000'000}, 0, 33'000'000, 10'000};
  const double i = (3.2864 - 0.2) / 73;
  CHECK(both.amperes(0b01, 0) == Approx(i).margin(1e-6));
  CHECK(both.volts(0b01, 0) == Approx(33 * i).margin(4e-5));
  CHECK(both.volts(0b01, 0) + both.volts(0b01, 1) == Approx(2 * 3.2864 - 0.2 - 20 * (i + 0.01)).margin(4e-5));
}

TEST_CASE("whatever is bled, the circuit is as Kirchhoff's laws at its nodes have it") {
  std::size_t in_a_row = 0;
  for (std::uint64_t number = 0; number < 2'000; ++number) {
    Dice dice("board circuit", number);
    Bench bench;
    const auto cells = static_cast<std::size_t>(dice.between(1, 16));
    for (std::size_t cell = 0; cell < cells; ++cell) bench.rest_uv.push_back(dice.between(2'500'000, 3'700'000));
    for (std::size_t tap = 0; tap <= cells; ++tap)
      bench.tap_uohm.push_back(dice.one_in(4) ? dice.between(1'000'000, 20'000'000) : dice.between(1'000, 100'000));
    bench.cell_uohm = dice.between(100, 50'000);
    bench.bleed_uohm = dice.between(5'000'000, 100'000'000);
    bench.own_ua = dice.one_in(3) ? 0 : dice.between(1'000, 30'000);
    const auto closed = static_cast<std::uint32_t>(dice.up_to(0xffff)) & ((1U << cells) - 1);
    in_a_row += (closed & (closed >> 1U)) != 0 ? 1U : 0U;
    const auto at = by_nodes(bench, closed);
    const auto bled = bench.bled_ua(closed);
    for (std::uint32_t cell = 0; cell < cells; ++cell) {
      INFO("number " << number << ", cell " << cell << " of " << cells << ", closed " << closed);
      const double volts = at[cell + 1] - at[cell];
      // A rounded microampere through 20 ohm, a few times over.
      REQUIRE(bench.volts(closed, cell) == Approx(volts).margin(1e-4));
      const double amperes = (closed >> cell & 1U) != 0 ? volts / (static_cast<double>(bench.bleed_uohm) * micro) : 0;
      REQUIRE(static_cast<double>(bled[cell]) * micro == Approx(amperes).margin(1.5e-6));
    }
  }
  CHECK(in_a_row > 500);
}

TEST_CASE("taps that lose more than a cell has leave nothing to bleed") {
  const Bench bench{{3'300'000}, {100'000'000, 100'000'000}, 100'000'000, 100'000, 1'000'000'000};
  CHECK(bench.bled_ua(1)[0] == 0);
  CHECK(bench.circuit().seen_uv(bench.rest_uv, bench.bled_ua(1), 0) < 0);
}
