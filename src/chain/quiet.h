// Whether anything is under way on a chain.
#pragma once

#include <algorithm>
#include <memory>
#include <vector>

#include "wires/link.h"
#include "wires/works.h"

namespace hopbench {

/// No exchange open, no frame on a link, nothing that a node has yet to do.
[[nodiscard]] inline bool nothing_on_its_way(const Works& works) {
  return !works.traces.any_open() && works.flights.in_the_air() == 0 && works.jobs == 0;
}

/// If the next exchange is about to begin: what is only put away at this instant is put away before it. Not if anything
/// is half heard, for then what begins now may still tell what became of it. Returns whether nothing was.
inline bool put_away(Works& works, const std::vector<std::unique_ptr<Link>>& links) {
  if (!std::all_of(links.begin(), links.end(), [](const auto& link) { return link->ear_idle(); })) return false;
  while (works.queue.step_of_rank(Rank::release)) {
  }
  return true;
}

}  // namespace hopbench
