// A sweep whose runs are kept in a folder: what the folder is made for, and the sweep that such a folder is of.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "record/result_folder.h"
#include "study/sweep.h"

namespace hopbench {

/// All that the runs depend on, in words for a person. `version`: of the program.
std::vector<FolderPart> folder_parts(const SweepPlan& plan, const Scenario& base, const std::string& version);

/// The plan that folder_parts() was given, but for `otherwise` and `in_seat`. None if these are no such parts.
std::optional<SweepPlan> plan_of_folder(const std::vector<FolderPart>& parts);

}  // namespace hopbench
