#include "record/crc32c.h"

#include <array>
#include <cstddef>
#include <cstring>

namespace hopbench {
namespace {

using Table = std::array<std::uint32_t, 256>;

/// tables[n][b]: what byte b comes to after n more bytes of nothing. So the tables of eight bytes can be looked up side
/// by side (slicing by eight: Kounavis and Berry, 2005).
constexpr std::array<Table, 8> make_tables() {
  constexpr std::uint32_t castagnoli = 0x82f63b78;  // 0x1edc6f41, the first bit last
  std::array<Table, 8> tables{};
  for (std::uint32_t byte = 0; byte < 256; ++byte) {
    std::uint32_t value = byte;
    for (int bit = 0; bit < 8; ++bit) value = (value >> 1U) ^ ((value & 1U) != 0 ? castagnoli : 0);
    tables[0][byte] = value;
  }
  for (std::size_t n = 1; n < tables.size(); ++n) {
    for (std::size_t byte = 0; byte < 256; ++byte) {
      const std::uint32_t before = tables[n - 1][byte];
      tables[n][byte] = (before >> 8U) ^ tables[0][before & 0xffU];
    }
  }
  return tables;
}

constexpr std::array<Table, 8> tables = make_tables();

std::uint32_t four(const std::uint8_t* at) {
  return std::uint32_t{at[0]} | std::uint32_t{at[1]} << 8U | std::uint32_t{at[2]} << 16U | std::uint32_t{at[3]} << 24U;
}

std::uint32_t by_table(std::uint32_t state, const std::uint8_t* at, std::size_t left) {
  for (; left >= 8; at += 8, left -= 8) {
    const std::uint32_t low = state ^ four(at);
    const std::uint32_t high = four(at + 4);
    state = tables[7][low & 0xffU] ^ tables[6][(low >> 8U) & 0xffU] ^ tables[5][(low >> 16U) & 0xffU] ^
            tables[4][low >> 24U] ^ tables[3][high & 0xffU] ^ tables[2][(high >> 8U) & 0xffU] ^
            tables[1][(high >> 16U) & 0xffU] ^ tables[0][high >> 24U];
  }
  for (; left > 0; ++at, --left) state = (state >> 8U) ^ tables[0][(state ^ *at) & 0xffU];
  return state;
}

#if defined(__x86_64__)
// Most processors of that kind have an instruction for just this polynomial; which ones is known at run time only.
__attribute__((target("sse4.2"))) std::uint32_t by_instruction(std::uint32_t state, const std::uint8_t* at,
                                                               std::size_t left) {
  std::uint64_t wide = state;
  for (; left >= 8; at += 8, left -= 8) {
    std::uint64_t word = 0;
    std::memcpy(&word, at, sizeof word);
    wide = __builtin_ia32_crc32di(wide, word);
  }
  auto narrow = static_cast<std::uint32_t>(wide);
  for (; left > 0; ++at, --left) narrow = __builtin_ia32_crc32qi(narrow, *at);
  return narrow;
}

const auto fastest = __builtin_cpu_supports("sse4.2") != 0 ? by_instruction : by_table;
#else
const auto fastest = by_table;
#endif

}  // namespace

Crc32c& Crc32c::feed(std::span<const std::uint8_t> bytes) {
  state_ = fastest(state_, bytes.data(), bytes.size());
  return *this;
}

Crc32c& Crc32c::feed_by_table(std::span<const std::uint8_t> bytes) {
  state_ = by_table(state_, bytes.data(), bytes.size());
  return *this;
}

Crc32c& Crc32c::feed_u32(std::uint32_t value) {
  const std::array<std::uint8_t, 4> bytes{static_cast<std::uint8_t>(value), static_cast<std::uint8_t>(value >> 8U),
                                          static_cast<std::uint8_t>(value >> 16U),
                                          static_cast<std::uint8_t>(value >> 24U)};
  return feed(bytes);
}

}  // namespace hopbench
