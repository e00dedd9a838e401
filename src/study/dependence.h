// What a mechanism may depend on: one that cannot depend on what separates the failures from what passed is rejected.
#pragma once

#include <vector>

#include "study/common.h"
#include "study/hypothesis.h"
#include "study/predictions.h"

namespace hopbench {

void expect_rules(std::vector<Hypothesis>& all, const Looked& at, const Common& common);

}  // namespace hopbench
