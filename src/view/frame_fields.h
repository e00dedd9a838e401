// The bytes of a frame beside what they mean, part by part.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "bus/protocol.h"

namespace hopbench {

/// Lines of bytes in hex and what they say: "26  passes 38". The first says what kind of frame it is. Bytes only, if
/// `protocol` is null or they are no whole frame.
std::vector<std::string> field_lines(const Protocol* protocol, std::span<const std::uint8_t> content, bool answer);

}  // namespace hopbench
