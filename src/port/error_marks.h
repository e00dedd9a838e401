// Takes the marks out of what a Linux terminal line hands over in PARMRK mode: FF FF is the byte FF, FF 00 X is
// the byte X received with an error, FF 00 00 also stands for a break (termios(3)).
#pragma once

#include <cstdint>
#include <span>

#include "port/byte_port.h"

namespace hopbench {

/// Flags of a PortRead.
inline constexpr std::uint8_t framing_flag = 1;
inline constexpr std::uint8_t parity_flag = 2;
inline constexpr std::uint8_t overrun_flag = 4;

/// Keeps its place between reads, so that a mark may be cut anywhere. Any input gives some output; an escape that
/// termios(3) does not know (FF and then neither FF nor 00) is handed on as it stands.
class ErrorMarks {
 public:
  /// Appends the bytes in `raw` to `intake`, with a flag for each. `error` is the flag for a marked byte other than
  /// 00; a marked 00 looks the same as a break and counts as a framing error. At most raw.size() + 1 bytes come out.
  void take(std::span<const std::uint8_t> raw, std::uint8_t error, PortRead& intake);
  /// Half a mark is held back.
  [[nodiscard]] bool pending() const { return state_ != State::plain; }

 private:
  enum class State : std::uint8_t { plain, escape, marked };
  State state_ = State::plain;
};

}  // namespace hopbench
