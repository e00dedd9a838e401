// What a chain does while nothing is wrong: by how much something must be wrong to make a given share of tries fail.
#pragma once

#include <optional>
#include <vector>

#include "bus/protocol.h"
#include "scenario/description.h"

namespace hopbench {

struct Habits {
  double period = 0;                  // ns from the start of an exchange to the start of the next, on average
  double round_trip = 0;              // ns, longest
  double mean_round_trip = 0;         // ns
  std::vector<double> frames;         // by link: for each exchange
  std::vector<double> bits;           // by link: of a frame, on average
  std::vector<double> frame_time;     // by link: ns, on average
  std::uint32_t longest_chars = 0;    // of any frame
  std::uint32_t shortest_answer = 0;  // chars
};

/// Runs the chain for a few rounds. None if it asks nothing.
std::optional<Habits> habits_of(const Protocol& protocol, const ChainDescription& chain);

}  // namespace hopbench
