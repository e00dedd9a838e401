// The name of a frame for luck and bookkeeping. Never on the wire.
#pragma once

#include <compare>
#include <cstdint>

namespace hopbench {

/// "Second try of the 41 213th turn of plan entry 7, on the way back."
struct FrameKey {
  std::uint64_t entry_hash = 0;  // hash of the plan entry's name
  std::uint64_t turn = 0;
  std::uint8_t attempt = 0;
  bool answering = false;
  std::uint8_t copy = 0;
  friend bool operator==(const FrameKey&, const FrameKey&) = default;
};

}  // namespace hopbench
