#pragma once

namespace hopbench {

/// Chains around which something goes on: what an exchange costs, how many are told again, and why the others are not.
void bench_physics();

}  // namespace hopbench
