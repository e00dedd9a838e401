// The open-circuit table against the published formula. The formula needs the mathematics library, which the bench
// itself does without; a test may use it.
#include "pack/open_circuit.h"

#include <cmath>

#include "support/catch.h"

namespace hopbench {
namespace {

// BPX 0.1.0 example "LFP|graphite 2 Ah cylindrical 18650 cell" (About:Energy, December 2022), file
// examples/lfp_18650_cell_BPX.json of the Faraday Institution's repository.
double positive(double x) {
  return 3.41285712 - 0.0149721852 * x + 3.54866018e14 * std::exp(-395.729493 * x) -
         1.45998465 * std::exp(-110.108622 * (1 - x));
}
double negative(double x) {
  return 52.9210878 * std::exp(-172.699386 * x) - 1179.63399 + 1209.56356 * std::tanh(67.2033948 * (x + 0.0244746396)) +
         0.0452430314 * std::tanh(-14.7542326 * (x - 0.162746053)) +
         20.18558 * std::tanh(-24.6666302 * (x - 1.12986136)) +
         0.0201708039 * std::tanh(-11.9900231 * (x - 0.54977344)) +
         49.9616805 * std::tanh(-61.1370883 * (x + 0.00469382558));
}
double volts(double charge) { return positive(0.95038 - 0.86288 * charge) - negative(0.0016261 + 0.8209539 * charge); }

std::int64_t at(double charge) {
  return open_circuit_uv(static_cast<std::int64_t>(std::llround(charge * static_cast<double>(full_charge))));
}

}  // namespace

TEST_CASE("every entry of the table is the published formula to half a microvolt") {
  for (std::size_t i = 0; i < open_circuit_table.size(); ++i) {
    const std::size_t stretch = std::min<std::size_t>(i / open_circuit_steps, 2);
    const double step = static_cast<double>(i - stretch * open_circuit_steps) / open_circuit_steps;
    const double charge = stretch == 0 ? 0.05 * step : stretch == 1 ? 0.05 + 0.9 * step : 0.95 + 0.05 * step;
    INFO(i);
    REQUIRE(std::abs(open_circuit_table[i] / 1e6 - volts(charge)) < 0.6e-6);
  }
}

TEST_CASE("between its entries the table is the formula to a fifth of a millivolt, and it never falls") {
  std::int64_t before = 0;
  for (int i = 0; i <= 100'000; ++i) {
    const double charge = i / 100'000.0;
    const std::int64_t uv = at(charge);
    REQUIRE(std::abs(static_cast<double>(uv) / 1e6 - volts(charge)) < 2e-4);
    REQUIRE(uv >= before);
    before = uv;
  }
}

TEST_CASE("the curve has the voltages that its source gives") {
  // Evaluated from the source's formula with Python, to the last digit shown; 2.0 V and 3.65 V are the limits in the
  // file.
  const std::pair<double, double> rows[] = {{0.01, 2.83697}, {0.05, 3.13654}, {0.10, 3.18817},
                                            {0.20, 3.22962}, {0.50, 3.27807}, {0.80, 3.31813},
                                            {0.90, 3.32179}, {0.98, 3.32350}, {0.99, 3.33399}};
  for (const auto& [charge, expected] : rows)
    CHECK(static_cast<double>(at(charge)) / 1e6 == Approx(expected).margin(6e-5));
  CHECK(static_cast<double>(at(0)) / 1e6 == Approx(2.0).margin(0.002));
  CHECK(static_cast<double>(at(1)) / 1e6 == Approx(3.65).margin(0.002));
}

}  // namespace hopbench
