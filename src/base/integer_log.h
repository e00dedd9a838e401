// Logarithm in integers. The library's log and exp differ in their last bits between processors (they
// pick fused operations at run time), and a decision that hangs on such a bit would make the same seed
// give different records on two machines.
#pragma once

#include <cstdint>

namespace hopbench {

/// -ln(x / 2^64) with 56 fractional bits, for x in 1..2^64-1. Absolute error below 2^-50.
std::uint64_t negative_log_q56(std::uint64_t x);

/// Rate of a Poisson process per bit, in units of 2^-56: what the noise field works in.
using Rate = std::uint64_t;

/// Rate at which at least one point falls on a bit with probability p = parts_per_1e15 * 1e-15:
/// -ln(1 - p). p below 1; p of a half gives ln 2.
Rate rate_of_probability(std::uint64_t parts_per_1e15);

}  // namespace hopbench
