// The files of a capture that was written in several: when one grew too large, or could not be written to any more.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "record/byte_source.h"

namespace hopbench {

class Segments {
 public:
  virtual ~Segments() = default;
  /// Null if there is none of that number, or it cannot be read.
  virtual std::unique_ptr<ByteSource> open(std::uint32_t segment) = 0;
  /// Those that there are now after the first (0), in order.
  virtual std::vector<std::uint32_t> further() = 0;
};

/// `path`, and what lies beside it under the names of segment_path(). Asks the file system at each call: segments
/// come while a capture grows.
std::unique_ptr<Segments> segments_of(const std::string& path);

}  // namespace hopbench
