// Hamming distances, receivers' limits and divisor errors against published figures.
//
// Sources. [K] P. Koopman, pages "Good HD=3..6 polynomials" and "Best CRC Polynomials", users.ece.cmu.edu/~koopman/crc.
// [KC] P. Koopman, T. Chakravarty, "Cyclic Redundancy Code (CRC) Polynomial Selection for Embedded Networks", DSN 2004.
// [AVR] ATmega48A...328P data sheet DS40002061A (2018), section 20.8.3, tables 20-2 and 20-3, and its tables of baud
// rates. What has no source was counted by an independent program and is not published.
#include <cmath>

#include "budget/check_budget.h"
#include "budget/error_patterns.h"
#include "budget/longest_busy.h"
#include "budget/tolerance.h"
#include "line/clock.h"
#include "line/receiver.h"
#include "support/buses.h"
#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

CrcModel model_of(std::uint64_t full, std::uint32_t width) {
  return {.width = width, .poly = full ^ (std::uint64_t{1} << width)};
}

UnnoticedPatterns patterns(std::uint64_t full, std::uint32_t width, std::size_t data) {
  const CrcModel model = model_of(full, width);
  return unnoticed_patterns(width, syndromes_of(model, data + width));
}

std::size_t distance(std::uint64_t full, std::uint32_t width, std::size_t data) {
  bool at_least = false;
  return patterns(full, width, data).distance(at_least);
}

}  // namespace

TEST_CASE("the distance falls at the published lengths") {
  struct Row {
    std::uint64_t full;
    std::uint32_t width;
    std::vector<std::size_t> longest;  // data bits with distance 3, 4, ... at least
  };
  const std::vector<Row> rows{
      {0x13D65, 16, {135, 135, 135, 135, 6, 6}},  // [K] first five
      {0x15935, 16, {241, 241, 241, 35, 10, 8}},  // [K] first five
      {0x1A2EB, 16, {32751, 32751, 93, 93, 11}},  // [K]
      {0x11021, 16, {32751, 32751}},              // [KC], from memory
      {0x18005, 16, {32751, 32751}},              // [KC], from memory
      {0x12F, 8, {119, 119, 3, 3}},               // [KC], from memory
      {0x107, 8, {119, 119}},                     // [K]
      {0x1D5, 8, {85, 85, 2, 2}},                 // [K]
      {0x1CF, 8, {247, 19, 1, 1, 1}},             // [K]
      {0x14D, 8, {247, 15, 6}},                   // [K]
      {0x11E7, 12, {2035, 2035, 25, 25, 1, 1}},   // [K] first five
      {0xCB, 7, {120, 14, 3}},                    // [K]
      {0x25, 5, {26}},                            // [K]
  };
  for (const Row& row : rows) {
    for (std::size_t i = 0; i < row.longest.size(); ++i) {
      INFO(std::hex << row.full << std::dec << " distance " << i + 3 << " up to " << row.longest[i]);
      CHECK(distance(row.full, row.width, row.longest[i]) >= i + 3);
      CHECK(distance(row.full, row.width, row.longest[i] + 1) < i + 3);
    }
  }
}

TEST_CASE("a register too wide for the transform is counted by pairs") {
  // [K]: 0x04C11DB7 has distance 5 up to 2974 bits of data, 4 up to 91607.
  bool at_least = false;
  CHECK(patterns(0x104C11DB7, 32, 2974).distance(at_least) == 5);
  CHECK(at_least);
  CHECK(patterns(0x104C11DB7, 32, 2975).distance(at_least) == 4);
  CHECK_FALSE(at_least);
  // Both methods count the same where both can.
  for (const std::size_t data : {20, 48, 120, 136, 300}) {
    const CrcModel model = model_of(0x13D65, 16);
    const auto syndromes = syndromes_of(model, data + 16);
    const UnnoticedPatterns by_transform = unnoticed_patterns(16, syndromes);
    const UnnoticedPatterns by_pairs = unnoticed_patterns(32, syndromes);
    for (std::size_t weight = 0; weight <= by_pairs.counted_to; ++weight) {
      CHECK(by_pairs.of_weight[weight] == by_transform.of_weight[weight]);
    }
  }
}

TEST_CASE("unnoticed patterns at 48 bits of data, and how probable they are") {
  const UnnoticedPatterns one = patterns(0x11021, 16, 48);  // [KC] table 1, from memory
  CHECK(one.of_weight[2] == 0);
  CHECK(one.of_weight[4] == 84);
  CHECK(one.of_weight[6] == 2430);
  const UnnoticedPatterns other = patterns(0x13D65, 16, 48);
  CHECK(other.of_weight[4] == 0);
  CHECK(other.of_weight[6] == 2051);
  // All weights of two short codes, counted apart: 0x12F over 3 bits, 6:6 8:1; 0x1D7 over 9 bits up to 8.
  // What is beyond eight wrong bits is reckoned, not counted.
  CHECK(patterns(0x12F, 8, 3).probability(0.01) == Approx(5.70603733e-12).epsilon(1e-6));
  CHECK(patterns(0x12F, 8, 3).probability(0.001) == Approx(5.97006094e-18).epsilon(1e-8));
  CHECK(patterns(0x1D7, 8, 9).probability(0.001) == Approx(3.36615597e-14).epsilon(1e-7));
}

TEST_CASE("the probability that damage goes unnoticed bounds what is counted over all damages") {
  // All patterns of up to three wrong bits in a frame of the bench's own bus, by its two checks.
  const BusDescription bus = buses::bench_frame();
  const CheckBudget checks(bus);
  const Protocol protocol(bus);
  Frame frame = protocol.ask(*protocol.topic_named("nameplate"), 1, 7, 3);
  Content content;
  protocol.encode(*protocol.as_read(frame), content);
  const std::size_t bits = 8 * content.size();
  std::uint64_t missed = 0;
  const auto good = [&](std::initializer_list<std::size_t> flipped) {
    Content damaged = content;
    for (const std::size_t bit : flipped)
      damaged[bit / 8] = static_cast<std::uint8_t>(damaged[bit / 8] ^ (1U << bit % 8));
    Frame read;
    return protocol.parse(damaged.view(), read) == Damage::none;
  };
  for (std::size_t a = 0; a < bits; ++a) {
    for (std::size_t b = 0; b < a; ++b) {
      if (good({a, b})) ++missed;
      for (std::size_t c = 0; c < b; ++c) missed += good({a, b, c}) ? 1U : 0U;
    }
  }
  CHECK(missed == 0);
  for (const CheckedLength& each : checks.lengths(0)) CHECK(each.distance >= 4);
  CHECK(checks.unchecked().empty());
  // At so few errors a frame's first unnoticed patterns decide: four bits within what only the header check sees.
  const double p = 1e-4;
  CHECK(checks.unnoticed(0, p) < 100 * p * p * p * p);
  CHECK(checks.unnoticed(0, p) > 0);
}

TEST_CASE("limits of receivers are those of the data sheets") {
  struct Row {
    std::uint32_t d;  // data and parity bits
    double slow;
    double fast;
  };
  const auto line_of = [](std::uint32_t d) {
    LineCoding line;
    line.data_bits = d == 9 ? 8 : d;
    line.parity = d == 9 ? Parity::even : Parity::none;
    return line;
  };
  // [AVR], 16 samples. For D = 8 its error column says -4.54 %, which neither its formula nor its ratio gives.
  for (const Row& row : {Row{5, 93.20, 106.67}, Row{6, 94.12, 105.79}, Row{7, 94.81, 105.11}, Row{8, 95.36, 104.58},
                         Row{9, 95.81, 104.14}}) {
    const ReceiverLimits limits = receiver_limits(line_of(row.d), {16, 8, 3});
    CHECK(std::abs(limits.slow_percent - row.slow) < 0.00501);
    CHECK(std::abs(limits.fast_majority_percent - row.fast) < 0.00501);
    CHECK(limits.fast_percent < limits.fast_majority_percent);
  }
  // [AVR], 8 samples.
  for (const Row& row : {Row{5, 94.12, 105.66}, Row{6, 94.92, 104.92}, Row{7, 95.52, 104.35}, Row{8, 96.00, 103.90},
                         Row{9, 96.39, 103.53}}) {
    const ReceiverLimits limits = receiver_limits(line_of(row.d), {8, 4, 3});
    CHECK(std::abs(limits.slow_percent - row.slow) < 0.00501);
    CHECK(std::abs(limits.fast_majority_percent - row.fast) < 0.00501);
  }
  // Data sheets of 32-bit microcontrollers, "Asynchronous Receiver Error for 16-fold Oversampling", which print the
  // errors with the opposite sign: +4.00/-5.26 for D = 8.
  const ReceiverLimits limits = receiver_limits(line_of(8), {16, 7, 3});
  CHECK(std::abs(limits.slow_percent - 96.00) < 0.00501);
  CHECK(std::abs(limits.fast_majority_percent - 105.26) < 0.00501);
}

TEST_CASE("a pair has margin left exactly if its receiver surely hears well") {
  Dice dice("vote margin", 1);
  std::size_t well = 0;
  for (int i = 0; i < 20'000; ++i) {
    LineCoding line;
    line.data_bits = static_cast<std::uint32_t>(5 + dice.up_to(3));
    if (dice.one_in(2)) line.parity = Parity::odd;
    line.baud = 9600;
    const std::uint32_t oversampling = dice.one_in(2) ? 16 : static_cast<std::uint32_t>(4 + dice.up_to(60));
    const std::uint32_t votes = dice.one_in(2) ? 3 : 1;
    const ReceiverSpec spec{oversampling, static_cast<std::uint32_t>(1 + dice.up_to(oversampling - votes)), votes};
    const Period own = period_of_baud(line.baud);
    const auto sent =
        static_cast<Period>(static_cast<double>(own) * (1 + static_cast<double>(dice.between(-80, 80)) / 1e3));
    const Nanos stretch = dice.one_in(2) ? 0 : dice.between(-30'000, 30'000);
    const double margin = vote_margin(line, spec, own, sent, stretch);
    const bool surely = Receiver(line, spec, own).surely_in_step(sent, stretch);
    // The receiver keeps 2 ns for rounding.
    const double rounding = 4.0 / (static_cast<double>(own) / 4294967296.0);
    if (surely) {
      CHECK(margin >= 0);
      ++well;
    } else {
      CHECK(margin < rounding);
    }
  }
  CHECK(well > 1'000);
}

TEST_CASE("divisor errors are those of the data sheet") {
  struct Row {
    std::uint64_t oscillator;
    std::uint64_t baud;
    std::uint32_t oversampling;
    std::uint32_t divisor;  // the register's value and one
    double error;           // percent, [AVR]
    double digit;           // half a unit of its last place
  };
  for (const Row& row : {Row{1'000'000, 2400, 16, 26, 0.16, 0.005}, Row{1'000'000, 2400, 8, 52, 0.2, 0.05},
                         Row{1'000'000, 9600, 16, 7, -6.99, 0.005}, Row{1'000'000, 9600, 8, 13, 0.16, 0.005},
                         Row{16'000'000, 57'600, 16, 17, 2.12, 0.005}, Row{16'000'000, 57'600, 8, 35, -0.79, 0.005},
                         Row{16'000'000, 115'200, 16, 9, -3.55, 0.005}, Row{16'000'000, 115'200, 8, 17, 2.12, 0.005},
                         Row{16'000'000, 230'400, 16, 4, 8.51, 0.005}, Row{16'000'000, 230'400, 8, 9, -3.55, 0.005},
                         Row{8'000'000, 115'200, 16, 4, 8.51, 0.005}, Row{18'432'000, 115'200, 16, 10, 0, 0.05}}) {
    CHECK(nearest_divisor(row.oscillator, row.oversampling, row.baud) == row.divisor);
    CHECK(std::abs(divisor_error_percent(row.oscillator, row.oversampling, row.divisor, row.baud) - row.error) <=
          row.digit + 1e-9);
  }
}

TEST_CASE("duties that come close together make one long stretch") {
  ProcessorSpec processor;
  CHECK(longest_busy(processor, 0) == 0);
  DutySpec quick;
  quick.every = 10 * millisecond;
  quick.takes = 2 * millisecond;
  processor.duties = {quick};
  CHECK(longest_busy(processor, 0) == 2 * millisecond);
  DutySpec slow;
  slow.every = second;
  slow.takes = 3 * millisecond;
  slow.takes_up_to = 9 * millisecond;
  processor.duties.push_back(slow);
  // 9 ms and 2 ms end beyond the quick one's next start.
  CHECK(longest_busy(processor, 0) == 13 * millisecond);
  quick.per_bleeding_cell = 4 * millisecond;
  processor.duties = {quick};
  CHECK(longest_busy(processor, 1) == 6 * millisecond);
  CHECK(longest_busy(processor, 2) == never);
}

}  // namespace hopbench
