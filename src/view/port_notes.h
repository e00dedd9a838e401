// How a real port kept up, in sentences.
#pragma once

#include <cstddef>
#include <string>

#include "seen/observation.h"

namespace hopbench {

/// Lines with their ends, all of them `indent` to the right; empty if there is nothing to tell.
std::string port_notes(const Lateness& late, std::size_t indent);

}  // namespace hopbench
