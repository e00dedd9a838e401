// The inspector's first screen: hops down, time across.
#pragma once

#include <cstddef>
#include <optional>

#include "view/map_scene.h"
#include "view/screen.h"

namespace hopbench {

/// How a screen of this size is shared out.
struct MapLayout {
  bool fits = false;  // false: too small
  int name_width = 8;
  int figures_left = 0;
  int cells_left = 0;
  std::size_t columns = 0;
  int rows_top = 5;
  std::size_t rows = 0;  // of hops and stations
  int lanes_top = 0;     // the line above is the rule
  int details_top = 0;
  std::size_t details = 2;
};
inline constexpr int least_width = 80;
inline constexpr int least_height = 24;
/// `rows`: how many there are to show; `more`: lines that would follow the details.
MapLayout map_layout(int width, int height, std::size_t rows, std::size_t more);

Screen map_screen(const MapScene& scene, int width, int height);

/// The place of the screen that was clicked on; none outside the rows. `column` is none on a row's figures.
struct MapSpot {
  std::size_t row = 0;
  std::optional<std::size_t> column;
};
std::optional<MapSpot> spot_at(const MapLayout& layout, std::size_t first_row, std::size_t rows, int x, int y);

}  // namespace hopbench
