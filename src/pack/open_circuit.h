// Open-circuit voltage of a lithium iron phosphate cell: flat in the middle, steep at both ends.
//
// Source: parameter set "LFP|graphite 2 Ah cylindrical 18650 cell" (About:Energy, December 2022) in the examples of the
// Battery Parameter eXchange standard 0.1.0 of the Faraday Institution. A cell of another make lies some ten millivolts
// elsewhere.
#pragma once

#include <array>
#include <cstdint>

namespace hopbench {

/// States of charge are parts of 2^30.
inline constexpr std::int64_t full_charge = std::int64_t{1} << 30U;

inline constexpr std::size_t open_circuit_steps = 512;
extern const std::array<std::int32_t, 3 * open_circuit_steps + 1> open_circuit_table;

/// In microvolts, linear between the table's entries. Below empty it stays; above full it goes on rising as it does
/// there.
std::int64_t open_circuit_uv(std::int64_t charge);

}  // namespace hopbench
