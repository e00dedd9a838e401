// A number with a unit, as text, taken exactly. Inner part of src/text.
#pragma once

#include <cstdint>
#include <span>
#include <string_view>

#include "base/decimal.h"

namespace hopbench {

struct Unit {
  std::string_view name;
  std::uint64_t factor;
};

/// Number and unit, no unit being the end of another that comes before it in `units`.
DecimalFault with_unit(std::string_view text, std::span<const Unit> units, bool exponent, std::int64_t& result);

}  // namespace hopbench
