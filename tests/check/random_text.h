// Scenarios as text, drawn from a number: any bus, any chain, mostly sensible, and with slips of the pen.
#pragma once

#include <cstdint>
#include <string>

namespace hopbench {

/// A whole scenario with its bus inside. It may be wrong in every way that text can be wrong in meaning; its form is
/// right.
std::string random_text(std::uint64_t number);

}  // namespace hopbench
