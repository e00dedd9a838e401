// What `hopbench sweep` shows. docs/sweep.md tells what each column and key means.
#pragma once

#include <string>

#include "study/sweep.h"
#include "view/summary.h"

namespace hopbench {

/// Tables and bars for a terminal, 100 columns wide.
std::string sweep_text(const Sweep& sweep, const TableStyle& style);
/// One JSON document.
std::string sweep_json(const Sweep& sweep);
/// A line of heads and a line for each point, with commas between (RFC 4180, but for line ends).
std::string sweep_csv(const Sweep& sweep);

/// Why a point has no figures, or none to be trusted; empty if it has.
std::string problem_of(const SweepRow& row);

/// The point at which the largest share failed; null if nothing failed, or too little was asked to say.
const SweepRow* worst_row(const Sweep& sweep);
/// Points that could be run, were, and asked something.
std::size_t points_measured(const Sweep& sweep);

}  // namespace hopbench
