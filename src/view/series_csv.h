// A run over time as comma-separated values (RFC 4180: a head, lines that end with CR LF, quotes where they are
// needed). What is not known is empty.
#pragma once

#include <string>

#include "seen/observation.h"
#include "study/series.h"

namespace hopbench {

/// Appends the head. `simulated`: with the columns of what was so.
void append_series_head(const RunInfo& run, bool simulated, std::string& text);
/// Appends a row of the same run.
void append_series_row(const SeriesRow& row, bool simulated, std::string& text);

}  // namespace hopbench
