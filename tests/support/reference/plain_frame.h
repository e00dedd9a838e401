// The bytes of a frame on a plain bus, put together by hand from what docs/bus-description.md says, and the characters
// that they are sent as. Nothing here knows the code in src/bus.
#pragma once

#include <cstdint>
#include <vector>

#include "support/reference/plain_bus.h"

namespace hopbench::reference {

using Bytes = std::vector<std::uint8_t>;

struct PlainFrame {
  PlainRole role = PlainRole::ask;
  std::uint8_t to = 0;
  std::uint8_t from = 0;
  std::uint8_t passes = 0;
  std::uint16_t number = 0;
  std::uint8_t topic = 0;
  Bytes payload;
};

/// Content: from the first part to the last, before stuffing or digits.
Bytes content(const PlainBus& bus, const PlainFrame& frame);
/// What is sent for it, character by character.
Bytes characters(const PlainBus& bus, const Bytes& content);
/// How many characters a node that sends on as they come must hear before it knows what to do: up to the last of passes
/// left, destination and header check. One, where the framing hides them.
std::size_t head_characters(const PlainBus& bus);
bool head_hidden(const PlainBus& bus);

/// A cyclic redundancy check bit by bit (Williams 1993: width, polynomial, initial value, reflection, final exclusive
/// or).
std::uint64_t plain_crc(const Bytes& bytes, unsigned width, std::uint64_t poly, std::uint64_t init, bool reflected,
                        std::uint64_t xorout);

}  // namespace hopbench::reference
