// How many there are of something, as a person reads it.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

namespace hopbench {

/// 1234567 as "1,234,567".
std::string grouped(std::uint64_t value);

/// "1 frame", "4,812 frames". `several`: where the plural is another one than with an "s" behind it ("tries").
std::string counted(std::uint64_t number, std::string_view one, std::string_view several = {});

}  // namespace hopbench
