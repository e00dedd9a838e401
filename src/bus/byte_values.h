// Which values the bytes of a frame can take, by the bus description alone: for asking whether a line can carry them,
// and whether they can look like a marker.
#pragma once

#include <bitset>
#include <cstdint>
#include <string>
#include <vector>

#include "bus/description.h"
#include "bus/protocol.h"

namespace hopbench {

/// A set of byte values.
using ByteSet = std::bitset<256>;

/// One byte of a frame's content.
struct ByteValues {
  /// Some bits of it, and the part that puts something there.
  struct Piece {
    std::uint8_t mask = 0;
    std::string name;        // of the field or check
    std::string path;        // of what decides its value; dotted, as in Protocol::Fault
    std::uint32_t bits = 0;  // of the whole field or check
    bool fixed = false;      // a constant or a code: it holds this and nothing else
  };
  ByteSet values;
  std::vector<Piece> pieces;  // in wire order

  /// The piece that has this bit, or the first one.
  [[nodiscard]] const Piece& piece_at(std::uint8_t bit) const;
};

/// A frame of this topic: header, payload, checks, in wire order. Groups come twice, conditional fields are all there,
/// and of values that belong together (the two bytes of a number, say) each byte is taken by itself: what is possible
/// may be less than what is said. `role` answer: of an answer; refusal: with the payload of a refusal.
std::vector<ByteValues> bytes_of(const BusDescription& bus, std::size_t topic, Role role);

/// All bits that are set in any of the values.
std::uint8_t ones_of(const ByteSet& values);

}  // namespace hopbench
