// How long a station's characters are.
#pragma once

#include <optional>
#include <string>
#include <utility>

#include "study/cases.h"

namespace hopbench {

/// Length of a station's characters, off the middle of all stations'.
struct Pace {
  std::string station;
  double off = 0;           // 0.03: 3 % too long; over everything it sent
  double off_when_bad = 0;  // at the board temperatures at which the case's frames died
  std::optional<int> from;  // degrees Celsius: nine in ten of the case's frames died at this temperature or above
};

/// Of the stations at both ends of a link, as far as their characters were heard: who sends on it, who receives.
std::pair<std::optional<Pace>, std::optional<Pace>> paces_at(const Evidence& evidence, const Case& which,
                                                             std::uint16_t link);

}  // namespace hopbench
