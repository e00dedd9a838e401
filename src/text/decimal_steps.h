// Numbers with a unit as people write them, and the numbers between two of them. Exact: nothing goes through floating
// point.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace hopbench {

/// digits * 10^exponent, and what stands right behind it: "-1.5e-6", "200ms", "38400".
struct UnitNumber {
  std::int64_t digits = 0;
  int exponent = 0;
  bool scientific = false;  // written with an e
  std::string unit;

  [[nodiscard]] bool is_whole() const { return exponent >= 0; }
};

/// None for anything else, and for more digits than are reckoned with.
std::optional<UnitNumber> read_unit_number(std::string_view text);

/// `first`, then each the one before plus (or times) `step`, as long as it is not above `last`. Written as `first` is.
/// None, and why in a few words, if it does not go upwards, if there are more than `most`, or too many digits.
std::optional<std::vector<std::string>> decimal_steps(const UnitNumber& first, const UnitNumber& last, bool times,
                                                      const UnitNumber& step, std::size_t most, std::string& why);

}  // namespace hopbench
