// Where failures happen, as far as what was seen can tell.
#pragma once

#include <string>
#include <vector>

#include "study/advice.h"
#include "study/counters.h"
#include "study/evidence.h"
#include "study/stand_out.h"

namespace hopbench {

struct HopFinding {
  std::uint16_t link = no_link;
  std::uint64_t lost = 0;
  std::uint64_t frames = 0;
  double adjusted_p = 1;  // after Holm, over all links; 0: by what it lost in one stretch
  std::string sentence;
};

/// From the controller: a node that fails more often than hops explain.
struct NodeFinding {
  std::uint16_t node = no_station;   // index into RunInfo.nodes
  std::vector<std::uint16_t> alike;  // nodes that cannot be told from it
  double adjusted_p = 1;
  std::string sentence;
};

struct Where {
  std::vector<HopFinding> hops;        // that stand out; only where hops were seen
  std::vector<NodeFinding> nodes;      // at fault, from the controller only; worst first
  std::vector<std::string> sentences;  // everything else that can be said
  Advice next;                         // what would tell more
};

/// `counters`: what nodes counted; null if it is not known.
Where where_of(const Evidence& evidence, const std::vector<StandOut>& outstanding,
               const std::vector<NodeCounters>* counters);

}  // namespace hopbench
