#include "port/error_marks.h"

namespace hopbench {
namespace {

constexpr std::uint8_t escape_byte = 0xff;

void put(PortRead& intake, std::uint8_t byte, std::uint8_t flag) {
  intake.bytes.push_back(byte);
  intake.flags.push_back(flag);
}

}  // namespace

void ErrorMarks::take(std::span<const std::uint8_t> raw, std::uint8_t error, PortRead& intake) {
  intake.flags.resize(intake.bytes.size(), 0);
  for (const std::uint8_t byte : raw) {
    switch (state_) {
      case State::plain:
        if (byte == escape_byte) {
          state_ = State::escape;
        } else {
          put(intake, byte, 0);
        }
        break;
      case State::escape:
        if (byte == 0) {
          state_ = State::marked;
          break;
        }
        put(intake, escape_byte, 0);
        if (byte != escape_byte) put(intake, byte, 0);
        state_ = State::plain;
        break;
      case State::marked:
        put(intake, byte, byte == 0 ? framing_flag : error);
        state_ = State::plain;
        break;
    }
  }
}

}  // namespace hopbench
