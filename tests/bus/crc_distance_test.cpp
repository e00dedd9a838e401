// What a CRC of ours detects: exact counts of undetected error patterns.
//
// Sources. [K] P. Koopman, "Best CRC Polynomials" and the pages "Good HD=3..6 polynomials",
// users.ece.cmu.edu/~koopman/crc. [KC] P. Koopman, T. Chakravarty, "Cyclic Redundancy Code (CRC) Polynomial Selection
// for Embedded Networks", DSN 2004. [PB] W. Peterson, D. Brown, "Cyclic Codes for Error Detection", Proc. IRE 49(1),
// 1961. Rows without a source were counted by an independent program (enumeration and MacWilliams' identity), not
// published. Polynomials are written in full here, with the top term.
#include <array>
#include <bit>
#include <cstdint>
#include <map>
#include <vector>

#include "bus/crc.h"
#include "support/catch.h"

using hopbench::Crc;

namespace {

struct Code {
  std::uint32_t width;
  Crc crc;
  explicit Code(std::uint64_t full)
      : width(static_cast<std::uint32_t>(std::bit_width(full)) - 1),
        crc({.width = width, .poly = full ^ (std::uint64_t{1} << width)}) {}

  /// CRC of a message of up to 64 bits; zeros in front change nothing when the register starts at 0.
  std::uint64_t of(std::uint64_t message) const {
    std::array<std::uint8_t, 8> bytes{};
    for (std::size_t i = 0; i < 8; ++i) bytes[i] = static_cast<std::uint8_t>(message >> (56 - 8 * i));
    return crc.of(bytes);
  }

  /// Syndromes of all places of a codeword with `data` message bits, check bits first.
  std::vector<std::uint64_t> syndromes(std::size_t data) const {
    std::vector<std::uint64_t> places;
    for (std::uint32_t i = 0; i < width; ++i) places.push_back(std::uint64_t{1} << i);
    for (std::size_t bit = 0; bit < data; ++bit) {
      std::vector<std::uint8_t> message(bit / 8 + 1, 0);
      message[0] = static_cast<std::uint8_t>(1U << (bit % 8));
      places.push_back(crc.of(message));
    }
    return places;
  }
};

std::int64_t choose(std::int64_t n, std::int64_t k) {
  if (k < 0 || k > n) return 0;
  std::int64_t result = 1;
  for (std::int64_t i = 1; i <= k; ++i) result = result * (n - k + i) / i;
  return result;
}

/// Number of codewords of weight 2..6 by MacWilliams' identity, from the weights of the 2^r words of the dual code.
std::array<std::int64_t, 7> undetected(const Code& code, std::size_t data) {
  const auto places = code.syndromes(data);
  const auto n = static_cast<std::int64_t>(places.size());
  std::vector<std::int64_t> words_of_weight(places.size() + 1, 0);
  for (std::uint64_t word = 0; word < std::uint64_t{1} << code.width; ++word) {
    std::size_t weight = 0;
    for (const std::uint64_t place : places) weight += static_cast<std::size_t>(std::popcount(word & place) & 1);
    ++words_of_weight[weight];
  }
  std::array<std::int64_t, 7> counts{};
  for (std::int64_t j = 0; j < 7; ++j) {
    std::int64_t sum = 0;
    for (std::int64_t x = 0; x <= n; ++x) {
      if (words_of_weight[static_cast<std::size_t>(x)] == 0) continue;
      std::int64_t krawtchouk = 0;
      for (std::int64_t s = 0; s <= j; ++s) krawtchouk += (s % 2 == 0 ? 1 : -1) * choose(x, s) * choose(n - x, j - s);
      sum += words_of_weight[static_cast<std::size_t>(x)] * krawtchouk;
    }
    REQUIRE(sum % (std::int64_t{1} << code.width) == 0);
    counts[static_cast<std::size_t>(j)] = sum >> code.width;
  }
  return counts;
}

}  // namespace

TEST_CASE("weights of every codeword of short codes are as counted elsewhere") {
  struct Row {
    std::uint64_t full;
    std::uint32_t data;
    std::map<int, int> words_of_weight;
    bool whole;  // all weights are listed
  };
  const std::vector<Row> rows{
      {0x1D5, 2, {{6, 2}, {8, 1}}, true},
      {0x1D5, 3, {{4, 1}, {6, 4}, {8, 2}}, true},
      {0x12F, 3, {{6, 6}, {8, 1}}, true},
      {0x12F, 4, {{4, 1}, {6, 10}, {8, 4}}, true},
      {0x137, 4, {{6, 12}, {8, 3}}, true},
      {0x137, 5, {{4, 1}, {6, 20}, {8, 9}, {12, 1}}, true},
      {0x14D, 6, {{5, 12}, {6, 16}, {7, 10}, {8, 11}, {9, 8}, {10, 4}, {11, 2}}, true},
      {0x14D, 7, {{4, 1}, {5, 17}, {6, 25}, {7, 21}, {8, 24}, {9, 19}, {10, 11}, {11, 7}, {12, 2}}, true},
      {0x1D7, 9, {{5, 34}, {6, 68}, {7, 68}, {8, 85}, {9, 85}, {10, 68}, {11, 68}, {12, 34}, {17, 1}}, true},
      {0x1D7,
       10,
       {{2, 1},
        {5, 44},
        {6, 92},
        {7, 120},
        {8, 169},
        {9, 170},
        {10, 153},
        {11, 152},
        {12, 86},
        {13, 24},
        {14, 10},
        {17, 2}},
       true},
      {0x14D, 15, {{1, 0}, {2, 0}, {3, 0}, {4, 31}, {5, 155}, {6, 398}}, false},
      {0x14D, 16, {{1, 0}, {2, 0}, {3, 1}, {4, 36}, {5, 193}, {6, 533}}, false},
  };
  for (const Row& row : rows) {
    INFO(std::hex << row.full << std::dec << " data bits " << row.data);
    const Code code(row.full);
    std::map<int, int> counted;
    for (std::uint64_t message = 1; message < std::uint64_t{1} << row.data; ++message) {
      ++counted[std::popcount(message) + std::popcount(code.of(message))];
    }
    if (row.whole) {
      CHECK(counted == row.words_of_weight);
    } else {
      for (const auto& [weight, words] : row.words_of_weight) CHECK(counted[weight] == words);
    }
  }
}

TEST_CASE("undetected patterns at 48 data bits, exactly") {
  struct Row {
    std::uint64_t full;
    std::array<std::int64_t, 5> from_two;  // weights 2..6
  };
  const std::vector<Row> rows{
      {0x11021, {0, 0, 84, 0, 2430}},  // [KC] table 1 (from memory), recomputed
      {0x107, {0, 0, 2937, 0, 253321}},      {0x12F, {0, 0, 2911, 0, 253795}},       {0x131, {0, 0, 2900, 0, 254038}},
      {0x14D, {0, 90, 1444, 15207, 126685}}, {0x11D, {0, 141, 1399, 14449, 127455}}, {0x18005, {0, 0, 364, 0, 9414}},
      {0x190D9, {0, 0, 0, 0, 2191}},         {0x13D65, {0, 0, 0, 0, 2051}},          {0x15935, {0, 0, 0, 74, 1097}},
      {0x1755B, {0, 0, 0, 113, 1252}},       {0x11B2B, {0, 0, 0, 136, 1004}},
  };
  for (const Row& row : rows) {
    INFO(std::hex << row.full);
    const auto counts = undetected(Code(row.full), 48);
    CHECK(counts[0] == 1);
    CHECK(counts[1] == 0);
    for (std::size_t weight = 2; weight <= 6; ++weight) CHECK(counts[weight] == row.from_two[weight - 2]);
  }
}

TEST_CASE("Hamming distance falls exactly where it is published to fall") {
  // Last length with the distance and the first without: [K] where the value of the lengths is published.
  struct Row {
    std::uint64_t full;
    std::size_t data;
    std::size_t weight;  // of the patterns that are first missed one bit later
    std::int64_t first_missed;
  };
  const std::vector<Row> rows{
      {0x107, 119, 2, 1},    // [K]
      {0x12F, 119, 2, 1},    // [KC] table (from memory)
      {0x131, 119, 2, 1},    // [KC] table (from memory)
      {0x1D5, 85, 2, 1},     // [K]
      {0x1CF, 19, 3, 1},     // [K]
      {0x14D, 247, 2, 1},    // [K]
      {0x1CF, 247, 2, 1},    // [K]
      {0x11D, 247, 2, 1},    // [KC] table (from memory)
      {0x190D9, 135, 2, 1},  // [KC] table (from memory)
      {0x13D65, 135, 2, 1},  // [K]
      {0x15935, 35, 5, 2},   // [K]
      {0x15935, 241, 2, 1},  // [K]
      {0x1A2EB, 93, 4, 1},   // [K]
  };
  for (const Row& row : rows) {
    INFO(std::hex << row.full << std::dec << " data bits " << row.data);
    const Code code(row.full);
    const auto before = undetected(code, row.data);
    const auto after = undetected(code, row.data + 1);
    for (std::size_t weight = 1; weight <= row.weight; ++weight) CHECK(before[weight] == 0);
    CHECK(after[row.weight] == row.first_missed);
  }
}

TEST_CASE("the bench-frame header check misses nothing of fewer than four bits in its five bytes") {
  // 40 data bits lie below the 119 at which 0x12F is published to fall from distance 4 ([KC] table, from memory).
  const auto counts = undetected(Code(0x12F), 40);
  CHECK(counts[1] == 0);
  CHECK(counts[2] == 0);
  CHECK(counts[3] == 0);
  CHECK(counts[4] > 0);
}

TEST_CASE("bursts up to the width are all detected, longer ones in the published share") {
  // [PB]: of bursts of width + 1 bits one in 2^(width - 1) is missed, of longer ones one in 2^width.
  struct Row {
    std::uint64_t full;
    std::uint32_t longest;
  };
  for (const Row& row : {Row{0x107, 13}, Row{0x12F, 13}, Row{0x11021, 21}}) {
    const Code code(row.full);
    for (std::uint32_t length = 1; length <= row.longest; ++length) {
      const std::uint32_t inner = length > 2 ? length - 2 : 0;
      std::uint64_t missed = 0;
      for (std::uint64_t middle = 0; middle < std::uint64_t{1} << inner; ++middle) {
        const std::uint64_t burst = length == 1 ? 1 : (std::uint64_t{1} << (length - 1)) | middle << 1U | 1U;
        missed += code.of(burst) == 0 ? 1U : 0U;
      }
      INFO(std::hex << row.full << std::dec << " burst " << length);
      const std::uint64_t expected = length <= code.width       ? 0
                                     : length == code.width + 1 ? 1
                                                                : std::uint64_t{1} << (length - code.width - 2);
      CHECK(missed == expected);
    }
  }
}
