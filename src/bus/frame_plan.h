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
  bool here = false;  // this shape has it; else what follows means nothing
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

/// A payload that is sent in blocks, each with a check behind it.
struct BlockPlan {
  std::size_t bytes = 0;  // of a whole block
  CheckPlan check;

  /// Bytes on the wire of a payload of so many.
  [[nodiscard]] std::size_t sent(std::size_t payload) const {
    return payload + (payload + bytes - 1) / bytes * check.bytes();
  }
  /// Bytes of payload in so many on the wire; none if a block's check is cut off.
  [[nodiscard]] std::optional<std::size_t> payload(std::size_t sent) const;
};

/// Everything about a frame of one shape that does not hang on topics.
class FramePlan {
 public:
  /// `shape` 0 is that of `bus.parts`.
  explicit FramePlan(const BusDescription& bus, std::size_t shape = 0);

  std::vector<SlotPlan> slots;    // of all shapes; index = index into Frame::field
  std::vector<CheckPlan> checks;  // in wire order
  std::vector<RewritePlan> rewrites;
  std::optional<BlockPlan> blocks;
  std::optional<Role> only_role;  // frames of this shape are always this
  bool has_payload = false;
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
  std::vector<KnownBits> lead;   // the first part, if it is a constant

  [[nodiscard]] std::size_t slot_named(std::string_view name) const;
  [[nodiscard]] bool has(std::size_t slot) const { return slot != no_index && slots[slot].here; }
  /// Whether content, or the beginning of it, can be of this shape by its first part.
  [[nodiscard]] bool leads(std::span<const std::uint8_t> start) const;

  [[nodiscard]] std::optional<std::uint64_t> load(const SlotPlan& slot, std::span<const std::uint8_t> content) const {
    return slot.code.load(content.data(), 8 * zones.place(slot.zone, 0, content.size()) + slot.bit);
  }
  void store(const SlotPlan& slot, std::span<std::uint8_t> content, std::uint64_t raw) const {
    slot.code.store(content.data(), 8 * zones.place(slot.zone, 0, content.size()) + slot.bit, raw);
  }

  /// Frame bytes that a size field's raw value stands for; none if negative or out of bounds.
  [[nodiscard]] std::optional<std::size_t> total_of(std::uint64_t raw_size) const;
  /// The size field's value for a frame with so many bytes of payload.
  [[nodiscard]] std::uint64_t raw_size_of(std::size_t payload) const;
  /// Payload bytes that a frame with `wanted` bytes gets: rounded up to what the size field can say, cut at the limit.
  [[nodiscard]] std::size_t payload_bytes(std::size_t wanted) const;
  /// Bytes of a frame with so many bytes of payload.
  [[nodiscard]] std::size_t total_for(std::size_t payload) const {
    return zones.front + (blocks ? blocks->sent(payload) : payload) + zones.back;
  }

 private:
  void list_fields(const BusDescription& bus);
  void place_parts(const BusDescription& bus, std::size_t shape);
  void find_roles(const BusDescription& bus);
  void plan_forwarding(const BusDescription& bus);
  void find_limits(const BusDescription& bus);
  void find_known_bits();
  [[nodiscard]] std::vector<KnownBits> constants_within(std::size_t bytes) const;

  std::int64_t size_plus_ = 0;
  std::uint32_t size_unit_ = 1;
  std::size_t fixed_bytes_ = 0;
};

/// The parts of a shape, in wire order.
[[nodiscard]] const std::vector<PartSpec>& parts_of(const BusDescription& bus, std::size_t shape);
/// Number of the shape so named, "" that of `bus.parts`; none if there is no such.
[[nodiscard]] std::optional<std::size_t> shape_named(const BusDescription& bus, std::string_view name);
/// The description of a bus on which all frames have this shape.
[[nodiscard]] BusDescription with_one_shape(const BusDescription& bus, std::size_t shape);

/// Stretches that a check covers; names that are no part are passed over.
[[nodiscard]] std::vector<ByteRange> covered_by(const std::vector<PartSpec>& parts, std::size_t check_part);

/// Where each part stands: zone and first bit in it, in order of parts.
struct PartPlace {
  Zone zone = Zone::front;
  std::size_t bit = 0;
  std::size_t bits = 0;
};
[[nodiscard]] std::vector<PartPlace> places_of(const std::vector<PartSpec>& parts);

}  // namespace hopbench
