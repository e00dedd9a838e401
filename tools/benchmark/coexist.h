#pragma once

namespace hopbench {

/// Chains that `coexist` builds and tries: how many a second for each promise, and by how much more workers help.
void bench_coexist();

}  // namespace hopbench
