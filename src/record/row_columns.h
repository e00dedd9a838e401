// The rows of an exchange as columns of differences: in a healthy exchange nearly all of them are nothing.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "seen/observation.h"

namespace hopbench {

/// Most rows that one exchange may have; more are not decoded.
inline constexpr std::size_t max_rows = std::size_t{1} << 20U;

/// Appends the columns of `rows` to `columns`. `start`: of the exchange.
void encode_rows(std::span<const HopRow> rows, Nanos start, std::string& columns);

/// The inverse. Returns false, with `rows` in any state, if `columns` is not what encode_rows makes.
bool decode_rows(std::string_view columns, Nanos start, std::vector<HopRow>& rows);

}  // namespace hopbench
