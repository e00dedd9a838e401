// How long something took, as a histogram and over time, and failures against what held; one subject, or two side by
// side.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "picture/picture.h"
#include "study/condition.h"
#include "view/screen.h"

namespace hopbench {

/// Frames or tries, and those of them that failed.
struct FailCounts {
  std::uint64_t all = 0;
  std::uint64_t failed = 0;
  friend bool operator==(const FailCounts&, const FailCounts&) = default;
};

/// A hop, a station's passing on, a node or a topic over a stretch of time.
struct Figure {
  std::string name;   // "hop 7", "node a3"
  std::string title;  // with what is known of it, and when
  Histogram times;
  FailCounts counts;
  bool has_conditions = false;                       // else the next two say nothing
  std::array<FailCounts, bin_count> by_balancing{};  // by balancing_bin() of the most in a slice
  std::array<FailCounts, bin_count> by_board{};      // by temperature_bin() of the warmest board
  std::string conditions_are;                        // "the most in each minute"
};

struct FiguresScene {
  Figure one;
  const Figure* aside = nullptr;         // null: none
  std::span<const Histogram> over_time;  // in columns, as many as figures_columns()
  Nanos from = 0;
  Nanos span = second;
  std::string message;
};

Figure figure_of(Picture& picture, Timed what, const RunPart& stretch, Nanos from, Nanos to);
/// Columns of time on a screen of this width.
std::size_t figures_columns(int width);
Screen figures_screen(const FiguresScene& scene, int width, int height);

/// Ends of bins from below `low` to above `high`, at most so many bins: preferred numbers (ISO 3), as fine as fits.
std::vector<Nanos> bin_ends(Nanos low, Nanos high, std::size_t most);

}  // namespace hopbench
