// Parts a case in which two mechanisms meet: failures at one place that no single mechanism explains, if each of two
// kinds of them has one that does.
#pragma once

#include <string>
#include <vector>

#include "study/candidate.h"
#include "study/cases.h"
#include "study/common.h"
#include "study/exhibits.h"

namespace hopbench {

struct CasePart {
  Case which;
  Judged judged;
  Common common;     // what its failures have in common, if anything was kept to compare them with
  std::string what;  // what tells its failures from the others of the case: "were cut short"; empty: it is all of it
};

/// The case itself, or its parts, largest first.
std::vector<CasePart> parted(const Evidence& evidence, const Exhibits& kept, Case which);

}  // namespace hopbench
