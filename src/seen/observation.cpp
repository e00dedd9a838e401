#include "seen/observation.h"

#include <array>

#include "seen/unknown_name.h"

namespace hopbench {
namespace {

constexpr std::array<std::string_view, 5> vantages{"unseen", "simulated", "tapped", "at_port", "reported"};

}  // namespace

bool is_known(Vantage vantage) { return static_cast<std::size_t>(vantage) < vantages.size(); }

std::string_view name_of(Vantage vantage) {
  return is_known(vantage) ? vantages[static_cast<std::size_t>(vantage)]
                           : unknown_name(static_cast<std::uint8_t>(vantage));
}

}  // namespace hopbench
