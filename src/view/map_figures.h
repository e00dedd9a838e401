// The columns of figures beside the map's cells.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>

#include "view/map_scene.h"
#include "view/screen.h"

namespace hopbench {

/// Places that the figures take on a screen of this width.
int figures_width(int screen_width);
/// Their two lines of headings, above `y`.
void put_figure_heads(Screen& screen, const MapScene& scene, int left, int y);
void put_figures(Screen& screen, const MapRow& row, int left, int y);

/// A count in so many places: "9,999", "518k", "12M".
std::string short_count(std::uint64_t count, std::size_t places);
/// A share in per cent in at most six places: "0", "0.041", "2.9", "<0.001".
std::string short_share(std::uint64_t hits, std::uint64_t trials);
/// Milliseconds in at most four places: "5.7", "178", "12s".
std::string short_ms(std::optional<Nanos> span);

}  // namespace hopbench
