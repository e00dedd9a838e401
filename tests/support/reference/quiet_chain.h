// Chains on plain buses in which nothing is left to luck: no noise, no faults, no duties, nothing drawn.
#pragma once

#include <cstdint>
#include <vector>

#include "support/reference/one_exchange.h"

namespace hopbench::reference {

struct QuietChain {
  PlainBus bus;
  ChainDescription chain;
  std::vector<PlainAsk> asks;  // one for each entry of the plan
  bool one_at_a_time = false;  // exchanges are so far apart that late answers find nothing open
  bool impatient = false;      // it asks again while the node is still busy with the try before
};

/// The same number gives the same chain.
QuietChain quiet_chain(std::uint64_t number);

}  // namespace hopbench::reference
