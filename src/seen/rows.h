// The order of an exchange's rows.
#pragma once

#include <vector>

#include "seen/observation.h"

namespace hopbench {

/// Puts rows into the order of ExchangeObs::rows, and along with them what names them by index.
void sort_rows(std::vector<HopRow>& rows, std::vector<RowDamage>& damage, std::vector<RowTruth>& truths);

}  // namespace hopbench
