// docs/explain-rates.md.
#pragma once

#include <string>

#include "foreign_report.h"
#include "report.h"

namespace hopbench::rates {

/// The whole page, of these cases and foreign faults.
std::string page_of(const Wish& wish, const std::vector<Judged>& cases, std::uint64_t foreign_from,
                    const std::vector<ForeignJudgement>& foreign);

}  // namespace hopbench::rates
