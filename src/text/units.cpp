#include "text/units.h"

namespace hopbench {

DecimalFault with_unit(std::string_view text, std::span<const Unit> units, bool exponent, std::int64_t& result) {
  for (const Unit& unit : units) {
    if (!text.ends_with(unit.name)) continue;
    return scale_decimal(text.substr(0, text.size() - unit.name.size()), unit.factor, exponent, result);
  }
  return DecimalFault::not_a_number;
}

}  // namespace hopbench
