// Names cut to a width without becoming the same.
#pragma once

#include <cstddef>
#include <span>
#include <string>
#include <vector>

namespace hopbench {

/// harmless(), each at most `width` characters wide. A name that is too long loses its middle ("pump~rack-17"); names
/// that would become alike lose other parts, so that they stay different wherever there is room for that.
std::vector<std::string> short_names(std::span<const std::string> names, std::size_t width);

}  // namespace hopbench
