// What a scenario asks of a soak test.
#pragma once

#include <string>

#include "scenario/description.h"
#include "text/property_terms.h"

namespace hopbench {

struct Requirement {
  std::string that;   // as written
  PropertyTerm term;  // of the form "at most"; a share is the one that is rejectable
  Ppq acceptable = 0;
  Ppq reject_risk = certain / 20;
  Ppq accept_risk = certain / 20;
  std::uint32_t bunch = 10;  // assumed to fail together, as long as too few did to tell; 1 to 1,000,000
};

}  // namespace hopbench
