// Names cut to a width without becoming the same.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

namespace hopbench {

/// harmless(), each at most `width` characters wide. Names that are too long lose their middle ("pump~rack-17"), or
/// another part if that leaves more of them different.
std::vector<std::string> short_names(const std::vector<std::string>& names, std::size_t width);

}  // namespace hopbench
