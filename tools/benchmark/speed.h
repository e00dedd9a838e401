#pragma once

namespace hopbench {

/// The three ways and the plain loop on ring16, as ratios.
void bench_ways();
/// How the cost of an exchange grows with the number of exchanges, nodes and failures.
void bench_growth();

}  // namespace hopbench
