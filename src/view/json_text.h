// JSON values as text that a person can read too.
#pragma once

#include <boost/json/value.hpp>
#include <string>

namespace hopbench {

/// Indented by two, a key or element a line, small objects of numbers on one line; numbers in their shortest form that
/// reads back the same; line end last.
std::string json_text(const boost::json::value& value);

/// To six digits: what was reckoned, not counted.
double rounded(double value);

}  // namespace hopbench
