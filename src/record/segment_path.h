// The names of a capture's files.
#pragma once

#include <cstdint>
#include <string>

namespace hopbench {

/// `path` for segment 0; for the others with the number (four digits at least) before the last ending of the file's
/// name: ring.hbcap, ring.0001.hbcap. A name without an ending gets it at its end.
std::string segment_path(const std::string& path, std::uint32_t segment);

}  // namespace hopbench
