#pragma once

namespace hopbench {

/// What the inspector does with a capture of ten million exchanges, against reading its records and nothing else.
void bench_inspect();

}  // namespace hopbench
