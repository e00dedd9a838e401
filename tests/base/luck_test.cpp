// The source of all chance: the generator against its authors' known answers, names, bounded and exponential draws.
#include "base/luck.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <string>
#include <vector>

#include "support/catch.h"

namespace hopbench {
namespace {

StreamKey test_stream(std::uint64_t sub) { return Luck(42).stream(name_hash("luck test"), Purpose::test, sub); }

}  // namespace

// Known answers of philox4x32 with 10 rounds, from the file kat_vectors of the Random123 library (from memory; each was
// computed again with the library). Counter and key are given there as 32-bit words, the first one lowest.
TEST_CASE("draws are those of Philox 4x32-10, index in the upper half of the counter") {
  const auto zero = draw2(StreamKey{0}, 0, 0);
  CHECK(zero[0] == 0xe169c58d6627e8d5U);
  CHECK(zero[1] == 0x9b00dbd8bc57ac4cU);

  const auto ones = draw2(StreamKey{~std::uint64_t{0}}, ~std::uint64_t{0}, ~std::uint64_t{0});
  CHECK(ones[0] == 0x41c83b0e408f276dU);
  CHECK(ones[1] == 0x6d5451fda20bc7c6U);

  // Counter 243f6a88 85a308d3 13198a2e 03707344, key a4093822 299f31d0: the digits of pi.
  const auto pi = draw2(StreamKey{0x299f31d0a4093822U}, 0x0370734413198a2eU, 0x85a308d3243f6a88U);
  CHECK(pi[0] == 0x94fdccebd16cfe09U);
  CHECK(pi[1] == 0x24126ea15001e420U);
  CHECK(draw(StreamKey{0x299f31d0a4093822U}, 0x0370734413198a2eU, 0x85a308d3243f6a88U) == pi[0]);
}

// Test values of 64-bit FNV-1a published with its reference code (test_fnv.c by Landon Curt Noll; from memory).
TEST_CASE("names are hashed by FNV-1a") {
  CHECK(name_hash("") == 0xcbf29ce484222325U);
  CHECK(name_hash("a") == 0xaf63dc4c8601ec8cU);
  CHECK(name_hash("b") == 0xaf63df4c8601f1a5U);
  CHECK(name_hash("fo") == 0x08985907b541d342U);
  CHECK(name_hash("foo") == 0xdcb27518fed9d577U);
  CHECK(name_hash("foobar") == 0x85944171f73967e8U);
}

TEST_CASE("a hash goes on where another left off") {
  CHECK(name_hash("bar", name_hash("foo")) == name_hash("foobar"));
  const std::string eight_bytes{"\x08\x07\x06\x05\x04\x03\x02\x01"};
  CHECK(name_hash(0x0102030405060708U, name_hash("n")) == name_hash("n" + eight_bytes));
}

TEST_CASE("streams differ in entity, purpose, sub and seed, and nothing else moves them") {
  const Luck luck(1);
  const StreamKey stream = luck.stream(name_hash("n3"), Purpose::bit_noise, 0);
  const std::vector<StreamKey> others{
      luck.stream(name_hash("n4"), Purpose::bit_noise, 0), luck.stream(name_hash("n3"), Purpose::back_off, 0),
      luck.stream(name_hash("n3"), Purpose::bit_noise, 1), Luck(2).stream(name_hash("n3"), Purpose::bit_noise, 0)};
  std::vector<std::uint64_t> before;
  for (std::uint64_t i = 0; i < 50; ++i) before.push_back(draw(stream, i, 3));
  for (const StreamKey other : others) {
    CHECK_FALSE(other == stream);
    for (std::uint64_t i = 0; i < 50; ++i) CHECK(draw(other, i, 3) != before[i]);
  }
  for (std::uint64_t i = 50; i-- > 0;)
    CHECK(draw(luck.stream(name_hash("n3"), Purpose::bit_noise, 0), i, 3) == before[i]);
}

TEST_CASE("bounded draws keep their bounds and are even") {
  constexpr std::uint64_t all = ~std::uint64_t{0};
  for (const std::uint64_t bound :
       {std::uint64_t{1}, std::uint64_t{2}, std::uint64_t{10}, std::uint64_t{1} << 63U, all}) {
    CHECK(below(bound, 0) == 0);
    CHECK(below(bound, all) == bound - 1);
  }
  // Chi-squared over 10 classes, 9 degrees of freedom: 99.99 % lie below 33.72 (any table).
  constexpr std::uint64_t n = 100'000;
  std::array<double, 10> seen{};
  for (std::uint64_t i = 0; i < n; ++i) seen[below(10, draw(test_stream(1), i, 0))] += 1;
  double chi_squared = 0;
  for (const double each : seen) chi_squared += (each - n / 10.0) * (each - n / 10.0) / (n / 10.0);
  CHECK(chi_squared < 33.72);
}

TEST_CASE("exponential draws have their mean and their law") {
  constexpr std::size_t n = 200'000;
  constexpr std::int64_t mean = 1'000'000'000;
  std::vector<double> drawn;
  double sum = 0;
  for (std::uint64_t i = 0; i < n; ++i) {
    drawn.push_back(static_cast<double>(exponential(mean, draw(test_stream(2), i, 0))) / static_cast<double>(mean));
    sum += drawn.back();
  }
  const double root_n = std::sqrt(static_cast<double>(n));
  CHECK(std::abs(sum / static_cast<double>(n) - 1) < 4 / root_n);  // the standard deviation is the mean
  // Kolmogorov's distance: sqrt(n) D lies under 2.0 with probability 1 - 2 exp(-2 * 2^2) = 99.93 %
  // (Dvoretzky, Kiefer, Wolfowitz, with Massart's constant of 1990; from memory).
  std::sort(drawn.begin(), drawn.end());
  double distance = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const double law = -std::expm1(-drawn[i]);
    distance = std::max({distance, law - static_cast<double>(i) / static_cast<double>(n),
                         static_cast<double>(i + 1) / static_cast<double>(n) - law});
  }
  CHECK(distance * root_n < 2.0);
}

TEST_CASE("exponential draws at the ends of their range") {
  CHECK(exponential(0, 12345) == 0);
  CHECK(exponential(1'000'000, ~std::uint64_t{0}) == 0);
  // No bits at all count as the smallest possible ones: 64 ln 2 = 44.3614195558... means.
  CHECK(exponential(1'000'000'000'000, 0) == exponential(1'000'000'000'000, 1));
  CHECK(std::abs(static_cast<double>(exponential(1'000'000'000'000, 1)) - 44'361'419'555'836.5) < 2);
}

}  // namespace hopbench
