// Exchanges a second with a real controller in virtual time.
#pragma once

namespace hopbench {

void bench_granted();

}  // namespace hopbench
