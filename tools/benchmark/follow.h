// How soon the inspector shows what was just written, and what going along costs.
#pragma once

namespace hopbench {

void bench_follow();

}  // namespace hopbench
