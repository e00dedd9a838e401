// What a station's clock makes of a baud rate.
#include "line/clock.h"

#include <cmath>
#include <string>

#include "support/catch.h"

namespace hopbench {
namespace {

/// actual / target - 1, in percent.
double error_percent(const ClockSpec& clock, std::uint64_t baud) {
  const Period period = period_of(clock, baud, Luck(1), name_hash("n1"));
  return 100 * (static_cast<double>(period_of_baud(baud)) / static_cast<double>(period) - 1);
}

}  // namespace

// ATmega48A...328P data sheet, tables of baud rate settings; the register holds the divisor less one. U2X = 0 samples
// 16-fold, 1 8-fold.
TEST_CASE("the nearest divisor and its error are those of the published tables") {
  struct Row {
    std::uint64_t oscillator;
    std::uint64_t baud;
    std::uint32_t ubrr16;
    double error16;
    std::uint32_t ubrr8;
    double error8;
  };
  const Row row = GENERATE(Row{1'000'000, 2400, 25, 0.16, 51, 0.16}, Row{1'000'000, 9600, 6, -6.99, 12, 0.16},
                           Row{16'000'000, 57600, 16, 2.12, 34, -0.79}, Row{16'000'000, 115200, 8, -3.55, 16, 2.12},
                           Row{16'000'000, 230400, 3, 8.51, 8, -3.55}, Row{8'000'000, 115200, 3, 8.51, 8, -3.55},
                           Row{18'432'000, 115200, 9, 0.0, 19, 0.0});
  INFO(row.oscillator << " Hz, " << row.baud << " Bd");
  CHECK(nearest_divisor(row.oscillator, 16, row.baud) == row.ubrr16 + 1);
  CHECK(nearest_divisor(row.oscillator, 8, row.baud) == row.ubrr8 + 1);
  ClockSpec clock;
  clock.oscillator_hz = row.oscillator;
  CHECK(std::abs(error_percent(clock, row.baud) - row.error16) < 0.0051);
  clock.oversampling = 8;
  CHECK(std::abs(error_percent(clock, row.baud) - row.error8) < 0.0051);
}

TEST_CASE("a fast clock has short bits") {
  ClockSpec clock;
  clock.error_ppb = 10'000'000;
  CHECK(std::abs(error_percent(clock, 9600) - 1) < 1e-6);
  clock.error_ppb = -100'000'000;
  CHECK(std::abs(error_percent(clock, 9600) + 10) < 1e-6);
}

TEST_CASE("a divisor may be chosen, and is never nothing") {
  CHECK(nearest_divisor(1'000, 16, 115200) == 1);
  ClockSpec clock;
  clock.oscillator_hz = 16'000'000;
  clock.divisor = 8;  // instead of 9: 125 000 Bd
  CHECK(std::abs(error_percent(clock, 115200) - 100 * (125'000.0 / 115'200 - 1)) < 1e-6);
}

TEST_CASE("trims are drawn by name, spread evenly, and stay within their range") {
  ClockSpec clock;
  clock.spread_ppb = 20'000'000;
  double sum = 0;
  double squares = 0;
  constexpr int stations = 4'000;
  for (int i = 0; i < stations; ++i) {
    const Period period = period_of(clock, 9600, Luck(1), name_hash("n" + std::to_string(i)));
    CHECK(period == period_of(clock, 9600, Luck(1), name_hash("n" + std::to_string(i))));
    const double off = static_cast<double>(period_of_baud(9600)) / static_cast<double>(period) - 1;
    REQUIRE(std::abs(off) <= 0.02 + 1e-9);
    sum += off;
    squares += off * off;
  }
  // Uniform in +-a: mean 0, variance a^2 / 3, and the square has variance 4 a^4 / 45.
  const double a = 0.02;
  CHECK(std::abs(sum / stations) < 4 * a / std::sqrt(3.0 * stations));
  CHECK(std::abs(squares / stations - a * a / 3) < 4 * a * a * std::sqrt(4.0 / 45 / stations));
  CHECK(period_of(clock, 9600, Luck(1), name_hash("n1")) != period_of(clock, 9600, Luck(2), name_hash("n1")));
}

}  // namespace hopbench
