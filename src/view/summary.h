// The summary of a run, whether it comes from the run itself or from its capture.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "view/run_summary.h"

namespace hopbench {

/// From where the links were seen, in one word: every_hop, some_hops, controller_only, log; "unknown (57)" where one
/// link was seen from where this version does not know.
std::string_view vantage_of(const RunInfo& run);

/// Cells by how long they went unseen, longest first; before all others those that were never seen.
std::vector<const CellsUnseen*> by_time_unseen(const Measures& measures);

/// The summary as one JSON document, indented, with a line end. docs/measure.md tells what each key means.
std::string summary_json(const Summary& summary);

/// The summary for a terminal, at most page_width() columns wide.
std::string summary_table(const Summary& summary, const TableStyle& style);

}  // namespace hopbench
