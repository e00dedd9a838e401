// One exchange, time against hops.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "bus/protocol.h"
#include "picture/picture.h"
#include "view/screen.h"

namespace hopbench {

struct JourneyScene {
  const RunInfo* run = nullptr;
  const Protocol* protocol = nullptr;  // null: the bus is not known
  const FoundExchange* found = nullptr;
  std::optional<std::size_t> attempt;    // that one only; none: all
  std::size_t scroll = 0;                // hops passed over
  std::size_t details = 0;               // lines of the details passed over
  std::string message;                   // last line
  const ConditionsThen* then = nullptr;  // null: not asked for
  std::string check = "check";           // what a check error is called on this bus
};

/// Hops that are drawn at once on a screen of this size.
std::size_t journey_rows(int width, int height);
Screen journey_screen(const JourneyScene& scene, int width, int height);

/// What became of it, its frames and what held then, as lines of text.
std::vector<std::string> journey_details(const JourneyScene& scene);
/// A line for each frame on each hop: when it was sent, ms on the wire and in the station before, how it was heard.
std::vector<std::string> journey_hops(const JourneyScene& scene);
/// All of it as a file to hand on: what was real, the details and the hops.
std::string journey_report(const JourneyScene& scene);

}  // namespace hopbench
