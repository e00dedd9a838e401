#include "text/decimal_steps.h"

#include <fmt/format.h>

#include <algorithm>

namespace hopbench {
namespace {

constexpr int farthest_exponent = 30;
constexpr std::string_view too_many_digits = "its numbers have too many digits";

bool is_digit(char c) { return c >= '0' && c <= '9'; }

/// Reads digits into the number. False if they are too many.
bool take_digits(std::string_view& text, std::int64_t& value, int& count) {
  for (; !text.empty() && is_digit(text.front()); text.remove_prefix(1), ++count) {
    if (__builtin_mul_overflow(value, std::int64_t{10}, &value)) return false;
    if (__builtin_add_overflow(value, std::int64_t{text.front() - '0'}, &value)) return false;
  }
  return true;
}

/// No zeros at its end.
void shorten(UnitNumber& number) {
  if (number.digits == 0) number.exponent = 0;
  for (; number.digits != 0 && number.digits % 10 == 0; ++number.exponent) number.digits /= 10;
}

/// The digits with a smaller exponent; none if they do not fit.
std::optional<std::int64_t> digits_at(const UnitNumber& number, int exponent) {
  std::int64_t digits = number.digits;
  for (int i = number.exponent; i > exponent && digits != 0; --i) {
    if (__builtin_mul_overflow(digits, std::int64_t{10}, &digits)) return std::nullopt;
  }
  return digits;
}

std::optional<UnitNumber> sum(const UnitNumber& a, const UnitNumber& b) {
  UnitNumber out = a;
  out.exponent = std::min(a.exponent, b.exponent);
  const auto left = digits_at(a, out.exponent);
  const auto right = digits_at(b, out.exponent);
  if (!left || !right || __builtin_add_overflow(*left, *right, &out.digits)) return std::nullopt;
  shorten(out);
  return out;
}

std::optional<UnitNumber> product(const UnitNumber& a, const UnitNumber& b) {
  UnitNumber out = a;
  out.exponent += b.exponent;
  if (__builtin_mul_overflow(a.digits, b.digits, &out.digits)) return std::nullopt;
  shorten(out);
  if (out.exponent < -farthest_exponent || out.exponent > farthest_exponent) return std::nullopt;
  return out;
}

/// a > b; none if it cannot be told in these digits.
std::optional<bool> is_above(const UnitNumber& a, const UnitNumber& b) {
  const int exponent = std::min(a.exponent, b.exponent);
  const auto left = digits_at(a, exponent);
  const auto right = digits_at(b, exponent);
  if (!left || !right) return std::nullopt;
  return *left > *right;
}

std::string written(const UnitNumber& number) {
  const bool minus = number.digits < 0;
  std::string digits = std::to_string(number.digits);
  if (minus) digits.erase(0, 1);
  int exponent = number.exponent;
  std::string tail;
  if (number.scientific) {
    const int power = exponent + static_cast<int>(digits.size()) - 1;
    if (power != 0 && number.digits != 0) tail = fmt::format("e{}", power);
    exponent -= tail.empty() ? 0 : power;
  }
  if (exponent > 0 && number.digits != 0) digits.append(static_cast<std::size_t>(exponent), '0');
  if (exponent < 0) {
    const auto behind = static_cast<std::size_t>(-exponent);
    if (digits.size() <= behind) digits.insert(0, behind + 1 - digits.size(), '0');
    digits.insert(digits.size() - behind, 1, '.');
  }
  return (minus ? "-" : "") + digits + tail + number.unit;
}

}  // namespace

std::optional<UnitNumber> read_unit_number(std::string_view text) {
  UnitNumber number;
  const bool minus = text.starts_with('-');
  if (minus) text.remove_prefix(1);
  int whole = 0;
  int behind = 0;
  if (!take_digits(text, number.digits, whole) || whole == 0) return std::nullopt;
  if (text.size() > 1 && text[0] == '.' && is_digit(text[1])) {
    text.remove_prefix(1);
    if (!take_digits(text, number.digits, behind)) return std::nullopt;
  }
  number.exponent = -behind;
  if (text.size() > 1 && (text[0] == 'e' || text[0] == 'E')) {
    const bool sign = text[1] == '-' || text[1] == '+';
    std::string_view power = text.substr(sign ? 2 : 1);
    std::int64_t value = 0;
    int count = 0;
    if (!power.empty() && is_digit(power.front())) {
      if (!take_digits(power, value, count) || value > farthest_exponent) return std::nullopt;
      number.exponent += static_cast<int>(text[1] == '-' ? -value : value);
      number.scientific = true;
      text = power;
    }
  }
  if (number.exponent < -farthest_exponent) return std::nullopt;
  if (minus) number.digits = -number.digits;
  const bool good = std::all_of(text.begin(), text.end(), [](char c) { return !is_digit(c) && c != '.' && c != ' '; });
  if (!good) return std::nullopt;
  number.unit = text;
  shorten(number);
  return number;
}

std::optional<std::vector<std::string>> decimal_steps(const UnitNumber& first, const UnitNumber& last, bool times,
                                                      const UnitNumber& step, std::size_t most, std::string& why) {
  const auto one = UnitNumber{1, 0, false, ""};
  const bool grows = times ? first.digits > 0 && is_above(step, one).value_or(false) : step.digits > 0;
  const auto downwards = is_above(first, last);
  if (!downwards) {
    why = too_many_digits;
    return std::nullopt;
  }
  if (*downwards || !grows) {
    why = times ? "a range goes upwards: the first number and the last, above 0, and a factor above 1"
                : "a range goes upwards: the smaller number first, and a step above 0";
    return std::nullopt;
  }
  std::vector<std::string> values;
  for (UnitNumber value = first;;) {
    if (values.size() == most) {
      why = fmt::format("these are more than {} values", most);
      return std::nullopt;
    }
    values.push_back(written(value));
    const auto next = times ? product(value, step) : sum(value, step);
    const auto beyond = next ? is_above(*next, last) : std::nullopt;
    if (!beyond) {
      why = too_many_digits;
      return std::nullopt;
    }
    if (*beyond) return values;
    value = *next;
  }
}

}  // namespace hopbench
