#include "base/decimal.h"

#include <limits>
#include <string>

namespace hopbench {
namespace {

__extension__ typedef unsigned __int128 Wide;  // not in the standard, but in both compilers

constexpr std::size_t most_digits = 38;  // of a number that fits into 128 bits
constexpr std::int64_t most_exponent = 1'000'000;

bool is_digit(char c) { return c >= '0' && c <= '9'; }

/// Digits without point or leading zeros, and the power of ten of the last one.
struct Parts {
  std::string digits;
  std::int64_t power = 0;
};

bool take_digits(std::string_view& text, std::string& digits) {
  std::size_t n = 0;
  while (n < text.size() && is_digit(text[n])) ++n;
  digits.append(text.substr(0, n));
  text.remove_prefix(n);
  return n > 0;
}

bool split(std::string_view text, bool exponent, Parts& parts) {
  if (!take_digits(text, parts.digits)) return false;
  if (!text.empty() && text.front() == '.') {
    text.remove_prefix(1);
    const std::size_t before = parts.digits.size();
    if (!take_digits(text, parts.digits)) return false;
    parts.power -= static_cast<std::int64_t>(parts.digits.size() - before);
  }
  if (exponent && !text.empty() && (text.front() == 'e' || text.front() == 'E')) {
    text.remove_prefix(1);
    bool negative = false;
    if (!text.empty() && (text.front() == '+' || text.front() == '-')) {
      negative = text.front() == '-';
      text.remove_prefix(1);
    }
    std::string shown;
    if (!take_digits(text, shown)) return false;
    std::int64_t value = 0;
    for (const char c : shown) {
      if (value < most_exponent) value = value * 10 + (c - '0');
    }
    parts.power += negative ? -value : value;
  }
  if (!text.empty()) return false;
  while (!parts.digits.empty() && parts.digits.back() == '0') {
    parts.digits.pop_back();
    ++parts.power;
  }
  parts.digits.erase(0, parts.digits.find_first_not_of('0'));
  return true;
}

/// Divides one of the two by `prime` if it can be done without a rest.
bool cancel(Wide& number, std::uint64_t& factor, unsigned prime) {
  if (number % prime == 0) {
    number /= prime;
    return true;
  }
  if (factor % prime == 0) {
    factor /= prime;
    return true;
  }
  return false;
}

}  // namespace

DecimalFault scale_decimal(std::string_view text, std::uint64_t factor, bool exponent, std::int64_t& result) {
  Parts parts;
  if (!split(text, exponent, parts)) return DecimalFault::not_a_number;
  result = 0;
  if (parts.digits.empty()) return DecimalFault::none;
  const auto digits = static_cast<std::int64_t>(parts.digits.size());
  if (digits + parts.power > static_cast<std::int64_t>(most_digits)) return DecimalFault::too_large;
  // The digits do not end in 0, so they lack the twos or the fives; a factor below 10^19 supplies at most 63 of one.
  if (parts.digits.size() > most_digits || parts.power < -64) return DecimalFault::too_fine;
  Wide number = 0;
  for (const char c : parts.digits) number = number * 10 + static_cast<unsigned>(c - '0');
  for (; parts.power < 0; ++parts.power) {
    if (!cancel(number, factor, 2) || !cancel(number, factor, 5)) return DecimalFault::too_fine;
  }
  constexpr Wide limit = static_cast<Wide>(std::numeric_limits<std::int64_t>::max());
  for (; parts.power > 0; --parts.power) {
    if (number > limit / 10) return DecimalFault::too_large;
    number *= 10;
  }
  if (number > limit / factor) return DecimalFault::too_large;
  result = static_cast<std::int64_t>(number * factor);
  return DecimalFault::none;
}

}  // namespace hopbench
