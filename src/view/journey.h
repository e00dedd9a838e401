// One exchange, time against hops.
#pragma once

#include <optional>
#include <string>

#include "bus/protocol.h"
#include "picture/picture.h"
#include "view/screen.h"

namespace hopbench {

struct JourneyScene {
  const RunInfo* run = nullptr;
  const Protocol* protocol = nullptr;  // null: the bus is not known
  const FoundExchange* found = nullptr;
  std::optional<std::size_t> attempt;  // that one only; none: all
  std::size_t scroll = 0;              // hops passed over
  std::size_t details = 0;             // lines of the details passed over
  std::string message;
};

/// Hops that are drawn at once on a screen of this size.
std::size_t journey_rows(int width, int height);
Screen journey_screen(const JourneyScene& scene, int width, int height);

/// The same as lines of text, for a file.
std::vector<std::string> journey_details(const JourneyScene& scene);

}  // namespace hopbench
