// JSON values as text that a person can read too.
#pragma once

#include <boost/json/object.hpp>
#include <boost/json/value.hpp>
#include <string>

#include "seen/reality.h"

namespace hopbench {

/// Indented by two, a key or element a line, small objects of numbers on one line; numbers in their shortest form that
/// reads back the same; line end last.
std::string json_text(const boost::json::value& value);

/// What was real as `reality`, and as `caution` what to mind of a simulation; null if nothing was simulated.
void put_reality(boost::json::object& document, Reality reality);

/// To six digits: what was reckoned, not counted.
double rounded(double value);

}  // namespace hopbench
