// How often tries failed by what held then, and by what was asked: counts and shares that need no statistics to be
// read. Neighbouring values are put into one row only where nothing failed, or where there are many and they do not
// differ, so that no rise disappears in a row.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "judge/limits.h"
#include "study/evidence.h"

namespace hopbench {

struct RateRow {
  std::string label;  // "17 to 32", "a18"
  std::uint64_t failed = 0;
  std::uint64_t of = 0;  // tries; of a hop, frames
  Share share;           // limits of 95 %, by whole clusters where it is known in which cluster a try was
};

struct RateTable {
  std::string_view name;  // for machines: "cells_balancing", "hop"
  std::string title;      // "cells balancing, 17 to 32 for example" without the example
  bool ordered = false;   // rows rise with the condition; else the worst comes first
  std::vector<RateRow> rows;
  RateRow others;                 // unordered: those with failures that have no row of their own; `of` 0: none
  std::size_t others_count = 0;   // how many these are
  RateRow healthy;                // unordered: all that nothing failed with; `of` 0: none
  std::size_t healthy_count = 0;  // how many these are
};

struct Rates {
  std::vector<RateTable> tables;  // by cells balancing, charge current, board, hour, topic, length, node, hop
  std::string unknown;            // conditions that are not known, in one sentence; empty: none
  std::string intervals;          // what they rest on
};

Rates rates_of(const Evidence& evidence);

}  // namespace hopbench
