// A field of a scenario and the values that it takes one after the other, as `hopbench sweep --vary` states them:
//
//   controller.retries=0,1,2    baud=9600..76800 x2    controller.time_out=100ms..400ms +50ms    nodes[a].count=1..8
//
// docs/sweep.md has the grammar.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "text/edit.h"

namespace hopbench {

struct Vary {
  std::string path;                 // as in an Edit
  std::vector<std::string> values;  // each as an edit takes it; at least one, all different
  friend bool operator==(const Vary&, const Vary&) = default;
};

inline constexpr std::size_t most_varied_values = 1000;

/// From "PATH=VALUES". Values are held against nothing here: what they may be is up to the field. Ranges are worked out
/// in decimal numbers, exactly.
std::variant<Vary, EditProblem> parse_vary(std::string_view text);

}  // namespace hopbench
