// Names that are too long for their place.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

namespace hopbench {

/// Each of the names as harmless() shows it, in at most `width` characters (at least 3). What is longer is cut in the
/// middle, where "~" stands then: names mostly differ at their ends. All are cut at the same place, chosen so that as
/// many as can be stay different.
std::vector<std::string> short_names(const std::vector<std::string>& names, std::size_t width);

}  // namespace hopbench
