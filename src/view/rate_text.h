// Failed tries by condition as a table that fits 80 columns, and as JSON.
#pragma once

#include <boost/json/array.hpp>
#include <cstddef>
#include <string>

#include "study/rates.h"

namespace hopbench {

/// Columns of what explain and compare print.
inline constexpr std::size_t report_width = 80;

/// Bars are for a terminal. They say nothing that the figures beside them do not.
enum class Bars : std::uint8_t { none, plain, utf8 };

std::string rates_text(const Rates& rates, Bars bars);

/// One object for each table, as docs/explain.md tells.
boost::json::array rates_json(const Rates& rates);

/// As it is, or so many characters with a "~" where the middle was: what differs often stands at an end.
std::string shortened(std::string_view text, std::size_t width);

}  // namespace hopbench
