// How failures of a case lie one after another.
#pragma once

#include "study/case_facts.h"

namespace hopbench {

/// By hop, or by the node asked where no frame of a try was seen to fail. Failures of another case between them do not
/// part a run; a frame or a try that went well does.
InARow runs_of(const Evidence& evidence, const Case& which);

}  // namespace hopbench
