// What reads as "1 exchanges" in a text for people.
#pragma once

#include <regex>
#include <string>

namespace hopbench {

/// The first place where one of something is told as several, words between them apart ("1 whole cycles"); empty if
/// there is none.
inline std::string wrong_plural(const std::string& text) {
  static const std::regex wrong(
      "(^|[^0-9.,:])1 ([a-z]+ )?(exchanges|tries|frames|bytes|records|gaps|places|sends|runs|failures|groups|cells|"
      "cycles|blocks|days|hops|nodes|points|times|periods|stretches|bursts|seeds|captures|files|characters|rows|notes|"
      "faults|"
      "topics|episodes|requirements|trials|bits|asks|answers|replies|strikes|units|values|mechanisms|links|parts)\\b"
      "|(^|[^0-9.,:])1 (exchange|try|frame|byte|record|gap|place|point|file) (are|were|have|come)\\b");
  // Sentences go on in the next line. A line that ends in a space is the row of a table.
  const std::string one_line = std::regex_replace(text, std::regex("([^ \n])\n *"), "$1 ");
  std::smatch found;
  return std::regex_search(one_line, found, wrong) ? found.str() : std::string();
}

}  // namespace hopbench
