#pragma once

namespace hopbench {

/// Largest memory of whole runs of growing length, and of the largest chain.
void bench_memory();

}  // namespace hopbench
