#pragma once

namespace hopbench {

/// Writing and reading a capture against what Protobuf alone takes for the same records.
void bench_capture();

}  // namespace hopbench
