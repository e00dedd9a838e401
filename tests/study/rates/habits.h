// What a healthy chain does in a short run, so that mechanisms can be given a strength and a run a length.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "draft.h"
#include "text/scenario.h"

namespace hopbench::rates {

struct Habits {
  double exchange = 0;                       // ns from the start of one to the start of the next, on average
  double round_trip = 0;                     // ns, longest
  double mean_round_trip = 0;                // ns
  std::vector<double> frames;                // by link: for each exchange
  std::vector<double> bits;                  // by link: of a frame, on average
  std::vector<double> frame_time;            // by link: ns
  std::vector<std::vector<Nanos>> silences;  // by link: before each frame but the first, rising
  std::vector<double> asked;                 // by node: share of exchanges
  std::uint32_t longest_chars = 0;           // of any frame
  std::uint32_t shortest_answer = 0;         // chars, on the last link
};

/// The scenario of this text; throws with the first problem if it is none.
Scenario loaded(const std::string& text);

/// Runs it for some rounds. Nothing if not everything is answered at the first try.
std::optional<Habits> habits_of(const Draft& draft, std::string& why);

}  // namespace hopbench::rates
