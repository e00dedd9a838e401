// The frame's parts made ready: where each header field and check stands, what tells the size, what forwarding touches.
// Inner part of Protocol; everybody else goes through bus/protocol.h.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "bus/bits.h"
#include "bus/check_plan.h"
#include "bus/description.h"
#include "bus/frame.h"
#include "bus/layout_plan.h"

namespace hopbench {

/// One header field.
struct SlotPlan {
  const FieldSpec* spec = nullptr;  // in the description that the plan was made from
  FieldCode code;
  Zone zone = Zone::front;
  std::size_t bit = 0;    // from the start of its zone
  bool demanded = false;  // a constant that must be so

  [[nodiscard]] std::size_t end_byte() const { return (bit + code.bits + 7) / 8; }
};

/// Bits of one byte that every frame has.
struct KnownBits {
  std::size_t byte = 0;
  std::uint8_t mask = 0;
  std::uint8_t value = 0;
};

/// One field that forwarding rewrites.
struct RewritePlan {
  std::size_t slot = no_index;
  std::int64_t add = 0;
  bool counts_down = false;           // passes left or distance: below zero means off the chain
  std::vector<std::uint64_t> spared;  // values that are no count (a distance's broadcast and controller values)
};

/// Everything about a frame that does not hang on topics.
class FramePlan {
 public:
  explicit FramePlan(const BusDescription& bus);

  std::vector<SlotPlan> slots;    // index = index into Frame::field
  std::vector<CheckPlan> checks;  // in wire order
  std::vector<RewritePlan> rewrites;
  Zones zones;
  std::size_t least = 0;  // bytes of a frame with an empty payload
  std::size_t most = 0;   // longest content
  std::size_t most_payload = 0;
  // Slots of the roles; no_index where the bus has none.
  std::size_t destination = no_index;
  std::size_t source = no_index;
  std::size_t passes_left = no_index;
  std::size_t exchange = no_index;
  std::size_t topic = no_index;
  std::size_t role = no_index;
  std::size_t mark = no_index;
  std::size_t size = no_index;
  std::size_t size_again = no_index;
  std::size_t header_check = no_index;  // into checks
  std::size_t head_bytes = 0;
  std::size_t judged_bytes = 0;  // sized framing: bytes after which the size is believed
  std::vector<KnownBits> known;  // constants within those, byte by byte

  [[nodiscard]] std::size_t slot_named(std::string_view name) const;

  [[nodiscard]] std::optional<std::uint64_t> load(const SlotPlan& slot, std::span<const std::uint8_t> content) const {
    return slot.code.load(content.data(), 8 * zones.place(slot.zone, 0, content.size()) + slot.bit);
  }
  void store(const SlotPlan& slot, std::span<std::uint8_t> content, std::uint64_t raw) const {
    slot.code.store(content.data(), 8 * zones.place(slot.zone, 0, content.size()) + slot.bit, raw);
  }

  /// Frame bytes that a size field's raw value stands for; none if negative or out of bounds.
  [[nodiscard]] std::optional<std::size_t> total_of(std::uint64_t raw_size) const;
  /// The size field's value for a frame of `total` bytes.
  [[nodiscard]] std::uint64_t raw_size_of(std::size_t total) const;
  /// Payload bytes that a frame with `wanted` bytes gets: rounded up to what the size field can say, cut at the limit.
  [[nodiscard]] std::size_t payload_bytes(std::size_t wanted) const;

 private:
  void place_parts(const BusDescription& bus);
  void find_roles(const BusDescription& bus);
  void plan_forwarding(const BusDescription& bus);
  void find_limits(const BusDescription& bus);
  void find_known_bits();

  std::int64_t size_plus_ = 0;
  std::uint32_t size_unit_ = 1;
  std::size_t fixed_bytes_ = 0;
};

/// Stretches that a check covers; names that are no part are passed over.
[[nodiscard]] std::vector<ByteRange> covered_by(const BusDescription& bus, std::size_t check_part);

/// Where each part stands: zone and first bit in it, in order of parts.
struct PartPlace {
  Zone zone = Zone::front;
  std::size_t bit = 0;
  std::size_t bits = 0;
};
[[nodiscard]] std::vector<PartPlace> places_of(const BusDescription& bus);

}  // namespace hopbench
