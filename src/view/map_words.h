// What the map says in words: totals of the whole capture, and what the cursor is on.
#pragma once

#include <string>
#include <vector>

#include "view/map_scene.h"

namespace hopbench {

/// What was real comes first, so that it is never what gives way to a narrow screen.
std::string head_text(const MapScene& scene, std::size_t room);
/// How many tries failed, and what became of them; kinds that find no room in one line are left out.
std::string totals_text(const MapScene& scene, std::size_t room);
std::string trips_text(const MapScene& scene, std::size_t room);
/// "27", "27<" for one that leads homeward.
std::string hop_number(const LinkInfo& link);
/// "hop 27 a26 -> a27", "b3", "hops 1 to 26".
std::string row_words(const MapRow& row, const RunInfo& run);
/// What the cursor is on, in lines of text. Names of stations give way to counts where there are only `room` places.
std::vector<std::string> cursor_words(const MapScene& scene, std::size_t room);

}  // namespace hopbench
