// What can be read of a capture that lies in one file or several.
#pragma once

#include <cstdint>
#include <string>

#include "record/capture_reader.h"

namespace hopbench {

struct CaptureSet {
  std::uint64_t told = 0;  // records of the run: without later heads, drop records and ends that say that it goes on
  std::uint64_t exchanges = 0;
  std::uint64_t dropped = 0;  // that drop records tell of
  std::uint32_t files = 0;
  bool consecutive = true;  // the exchanges are numbered 0, 1, 2, ...
  bool same_run = true;
  bool ended = false;
  bool damaged = false;  // in the middle

  /// Of `path` and the files after it, up to the first that is not there.
  static CaptureSet read(const std::string& path);
};

}  // namespace hopbench
