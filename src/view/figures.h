// Latencies as curves, and failures against cells balancing; one subject, or two side by side.
#pragma once

#include <optional>
#include <string>

#include "picture/picture.h"
#include "view/screen.h"

namespace hopbench {

/// A hop, a node or a topic over a stretch of time.
struct Figure {
  std::string name;   // "hop 7", "node a3"
  std::string title;  // with what is known of it, and when
  Histogram times;    // transit of a hop, else round trips
  std::uint64_t tries = 0;
  std::uint64_t failed = 0;
  std::vector<TryCounts> by_balancing;  // of the whole chain over that stretch
};

enum class Subject : std::uint8_t { hop, node, topic };
/// `index` into RunInfo.links, RunInfo.nodes, or the measures' topics.
Figure figure_of(const RunInfo& run, const RunPart& stretch, Subject subject, std::size_t index, Nanos from, Nanos to);

Screen figures_screen(const Figure& one, const Figure* other, const std::string& message, int width, int height);

}  // namespace hopbench
