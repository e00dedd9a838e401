// The order of an exchange's rows.
#pragma once

#include <vector>

#include "seen/observation.h"

namespace hopbench {

/// Puts rows into the order of ExchangeObs::rows, and truths, whose rows are indices, along with them.
void sort_rows(std::vector<HopRow>& rows, std::vector<RowTruth>& truths);

}  // namespace hopbench
