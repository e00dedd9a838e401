// Which nodes fail more often than the way to them explains, and where along a line failures step up: from the
// controller, by first tries.
#pragma once

#include <optional>
#include <vector>

#include "study/evidence.h"

namespace hopbench {

/// A node that fails more often than nodes nearer and nodes farther that are asked the same. Damage on hops makes
/// failures go one way along a chain: up in a line, and in a ring up or down with the lengths of asks and answers. One
/// node above both its sides is no matter of hops, whatever their error rates are. So the nodes at the ends can never
/// be told from their hops.
struct NodeExcess {
  std::uint16_t node = no_station;
  double failed = 0;  // first tries
  double asked = 0;
  double others_failed = 0;  // of those that it was compared with
  double others_asked = 0;
  double adjusted_p = 1;             // after Holm, over the nodes tested
  std::vector<std::uint16_t> alike;  // neighbours that cannot be told from it
};

struct NodeExcesses {
  std::vector<NodeExcess> found;  // worst first; 1 % family-wise
  std::size_t tested = 0;
  Nanos block = 0;  // of time, that counts as independent
};
NodeExcesses node_excesses(const Evidence& evidence);

/// In a line: what fails from one node on lies on the way to it.
struct LineStep {
  std::uint16_t node = no_station;   // the likeliest: failures step up from it on
  std::uint16_t first = no_station;  // and the first and last that are as likely
  std::uint16_t last = no_station;
  double near_failed = 0;  // first tries
  double near_asked = 0;
  double far_failed = 0;
  double far_asked = 0;
  double adjusted_p = 1;
};
/// Beyond what one error rate for all hops explains.
std::optional<LineStep> line_step(const Evidence& evidence);

/// Nodes that never gave a good answer, while others did.
std::vector<std::uint16_t> never_answered(const Evidence& evidence);

}  // namespace hopbench
