// A frame's bytes spelled out, part by part, with what does not fit: for a person who holds a description against
// bytes.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "bus/protocol.h"

namespace hopbench {

/// One field, one value of the payload, one check, or bytes that are none of these.
struct SpelledPart {
  enum class What : std::uint8_t { field, value, check, rest };
  What what = What::field;
  std::string name;     // "to", "cells[3].cell"; of a block's check with the block's number
  std::size_t bit = 0;  // where it begins in the content, from the top bit of the first byte
  std::size_t bits = 0;
  std::vector<std::uint8_t>
      bytes;  // its own and those that it shares; a value may stand on both sides of a block's check
  std::optional<std::uint64_t> raw;       // none if it is cut off, or one of its digits is none
  std::optional<std::int64_t> value;      // by its scale and sign, if that makes a difference
  std::string unit;                       // of the value
  std::optional<std::uint64_t> expected;  // checks: what it should be; constants and sizes: likewise, if they are wrong
  std::string wrong;                      // what does not fit, and what would be right; empty: it fits
};

struct Spelled {
  std::size_t shape = 0;  // of the frame
  Frame frame;            // as far as it could be read
  Damage damage = Damage::none;
  std::optional<std::uint32_t> topic;  // by which the payload was read
  Role role = Role::ask;               // as which it was read
  bool role_taken = false;             // the bytes do not tell it: it was said, or the other one does not fit
  std::vector<SpelledPart> parts;      // in wire order
  /// Index of the first part, in wire order, that does not fit; none if all do.
  std::optional<std::size_t> first_wrong;
};

/// Reads content (without boundaries, stuffing or hex text). `role`: what the frame is, where the bus does not tell it
/// by the frame; none: an ask if it can be read as one, else an answer.
[[nodiscard]] Spelled spelled_out(const Protocol& protocol, std::span<const std::uint8_t> content,
                                  std::optional<Role> role);

}  // namespace hopbench
