// Under which conditions failures become more frequent, and which of those conditions only move together.
#pragma once

#include "study/whens.h"

namespace hopbench {

Whens whens_of(const Evidence& evidence, const Case& which);

}  // namespace hopbench
