// The what-if study as text for people and as JSON for machines.
#pragma once

#include <cstdint>
#include <string>

#include "study/what_if.h"

namespace hopbench {

/// `scenario`: its name.
std::string what_if_text(const std::string& scenario, std::uint64_t seed, const WhatIf& found);

/// One document with a line end.
std::string what_if_json(const std::string& scenario, std::uint64_t seed, const WhatIf& found);

}  // namespace hopbench
