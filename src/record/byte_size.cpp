#include "record/byte_size.h"

#include <array>

namespace hopbench {
namespace {

struct Unit {
  std::string_view name;
  std::uint64_t bytes;
};

constexpr std::array<Unit, 7> units{{{"B", 1},
                                     {"kB", 1'000},
                                     {"MB", 1'000'000},
                                     {"GB", 1'000'000'000},
                                     {"KiB", 1ULL << 10U},
                                     {"MiB", 1ULL << 20U},
                                     {"GiB", 1ULL << 30U}}};

constexpr std::uint64_t most = 1ULL << 62U;

std::string_view take_digits(std::string_view& text) {
  std::size_t count = 0;
  while (count < text.size() && text[count] >= '0' && text[count] <= '9') ++count;
  const auto digits = text.substr(0, count);
  text.remove_prefix(count);
  return digits;
}

}  // namespace

std::optional<std::uint64_t> parse_byte_size(std::string_view text) {
  const auto whole = take_digits(text);
  std::string_view decimals;
  if (!text.empty() && text.front() == '.') {
    text.remove_prefix(1);
    decimals = take_digits(text);
    if (decimals.empty() || decimals.size() > 3) return std::nullopt;
  }
  // 16 digits and three decimals stay within 64 bits.
  if (whole.empty() || whole.size() > 16) return std::nullopt;
  std::uint64_t thousandths = 0;
  for (const char digit : whole) thousandths = thousandths * 10 + static_cast<std::uint64_t>(digit - '0');
  for (std::size_t i = 0; i < 3; ++i) {
    thousandths = thousandths * 10 + (i < decimals.size() ? static_cast<std::uint64_t>(decimals[i] - '0') : 0);
  }
  if (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  for (const auto& unit : units) {
    if (text != unit.name) continue;
    if (thousandths > most / unit.bytes) return std::nullopt;
    const std::uint64_t total = thousandths * unit.bytes;
    return total % 1000 == 0 ? std::optional(total / 1000) : std::nullopt;
  }
  return std::nullopt;
}

}  // namespace hopbench
