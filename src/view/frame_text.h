// What stands in a frame, as the bus description reads it.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "bus/protocol.h"

namespace hopbench {

/// Lines of "name value unit"; the first says what kind of frame it is. Bytes only, if `protocol` is null.
std::vector<std::string> frame_lines(const Protocol* protocol, std::span<const std::uint8_t> content, bool answer);

/// Where on the wire a bit lies, counted from the frame's first edge.
struct WireBit {
  std::uint32_t character = 0;  // from 0
  std::uint32_t bit = 0;        // in the character: 0 the start bit
};
WireBit wire_bit(const LineCoding& line, std::uint32_t bit);

/// Bytes in hex, as sent; the character that was hit stands between > and <.
std::string hit_text(std::span<const std::uint8_t> wire, std::optional<std::uint32_t> hit);

}  // namespace hopbench
