// Bursts in sentences, for whoever saw no more than a controller does.
#pragma once

#include <string>
#include <vector>

#include "study/bursts.h"
#include "study/cases.h"

namespace hopbench {

/// Runs that a case's failures are in. `with_node`: among tries with one node, else in the order of all tries.
RunLengths runs_of(const Evidence& evidence, const Case& which, bool with_node);

/// How a case's failures follow one another.
std::string burst_sentence(const Evidence& evidence, const Case& which);

/// The longest times without a good answer: from any node, and from the nodes that stand out. None without failures.
std::vector<std::string> stretch_sentences(const Evidence& evidence);

}  // namespace hopbench
