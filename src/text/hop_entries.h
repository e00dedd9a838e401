// The entry of `hop` that speaks of one link, found or made. Inner part of src/text.
#pragma once

#include <string>
#include <vector>

#include "scenario.pb.h"
#include "text/path.h"

namespace hopbench {

/// Which entries `hop[which]` with "into STATION" or "into STATION homeward" means, where `condition` of them is meant
/// (a field of a hop, or empty for the entry as a whole).
///
/// Looking: entries are made, behind all others, that state what holds on each of these links. Setting: the entry that
/// speaks of this link alone, or a new one, behind all others, so that nothing later takes its place; with `deep` it
/// states the condition as it holds there, for a part of it to be changed. Removing: those that speak of this link
/// alone and state the condition. Throws WrongEdit.
std::vector<int> hop_entries(text::Scenario& scenario, const std::string& which, const std::string& condition,
                             bool deep, WalkFor what);

/// Whether `which` is of that form.
bool names_station(const std::string& which);

}  // namespace hopbench
