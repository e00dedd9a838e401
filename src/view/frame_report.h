// Frames spelled out for a person, or as JSON.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "bus/decoder.h"
#include "bus/spelled.h"

namespace hopbench {

/// A frame, or a piece of damage, as it stood among the bytes given.
struct FrameLook {
  Spelled spelled;
  std::vector<std::uint8_t> wire;  // its bytes on the line
  std::size_t wire_at = 0;         // of the first of them, among all that were given
  std::vector<std::uint8_t> content;
  bool has_content = true;  // false: its framing is broken, so nothing between the boundaries can be read
  Damage damage = Damage::none;
  std::string trouble;  // what is wrong with the framing, if that is why there is no content
};

/// Bytes as they come off a line, one run after another with a pause after each, read as a receiver reads them.
[[nodiscard]] std::vector<FrameLook> frames_in(const Protocol& protocol,
                                               const std::vector<std::vector<std::uint8_t>>& runs,
                                               std::optional<Role> role);
/// One frame that is known as content.
[[nodiscard]] FrameLook look_at(const Protocol& protocol, std::span<const std::uint8_t> content,
                                std::optional<Role> role);

/// Whether everything fits.
[[nodiscard]] bool fits(const FrameLook& look);
/// Place on the line of the first thing that does not fit: of a byte among all bytes given, if it can be told.
[[nodiscard]] std::optional<std::size_t> wrong_at(const Protocol& protocol, const FrameLook& look);

[[nodiscard]] std::string frame_text(const Protocol& protocol, const FrameLook& look);
[[nodiscard]] std::string frames_json(const Protocol& protocol, const std::vector<FrameLook>& looks);

}  // namespace hopbench
