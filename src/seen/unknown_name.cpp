#include "seen/unknown_name.h"

#include <array>
#include <string>

namespace hopbench {

std::string_view unknown_name(std::uint8_t value) {
  static const auto names = [] {
    std::array<std::string, 256> made;
    for (std::size_t i = 0; i < made.size(); ++i) made[i] = "unknown (" + std::to_string(i) + ")";
    return made;
  }();
  return names[value];
}

}  // namespace hopbench
