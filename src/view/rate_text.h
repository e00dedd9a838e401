// Failed tries by condition as a table that fits the page, and as JSON.
#pragma once

#include <boost/json/array.hpp>
#include <cstdint>
#include <string>

#include "study/rates.h"

namespace hopbench {

/// Bars are for a terminal. They say nothing that the figures beside them do not.
enum class Bars : std::uint8_t { none, plain, utf8 };

std::string rates_text(const Rates& rates, Bars bars);

/// One object for each table, as docs/explain.md tells.
boost::json::array rates_json(const Rates& rates);

}  // namespace hopbench
