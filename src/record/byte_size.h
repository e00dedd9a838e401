// Sizes of files as people write them.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

namespace hopbench {

/// "256MB", "1.5 GB", "64 KiB": digits, at most three after a point, and a unit: kB, MB, GB (powers of 1000) or KiB,
/// MiB, GiB (of 1024), or B. None if it is anything else, no whole number of bytes, or more than 4 PB.
std::optional<std::uint64_t> parse_byte_size(std::string_view text);

}  // namespace hopbench
