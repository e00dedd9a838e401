// What a person is told to do next. Where that brings hands near a battery, a caution stands before it.
#pragma once

#include <string>
#include <string_view>

namespace hopbench {

struct Advice {
  std::string text;           // empty: none
  bool near_battery = false;  // hands, a cable or an instrument come near one, or the way it is charged is changed
};

/// Stands before the first advice that is near a battery. So short that it fits two lines behind a label.
std::string_view battery_caution();

/// Follows every advice to charge without balancing, or to balance without the charger. It names no voltage: those in a
/// scenario are of a model, and must not be read as limits of a cell.
std::string_view watch_cells();

}  // namespace hopbench
