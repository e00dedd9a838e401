#include "bus/frame_plan.h"

#include <algorithm>
#include <limits>

#include "bus/part_names.h"

namespace hopbench {

const std::vector<PartSpec>& parts_of(const BusDescription& bus, std::size_t shape) {
  return shape == 0 ? bus.parts : bus.shapes[shape - 1].parts;
}

std::optional<std::size_t> shape_named(const BusDescription& bus, std::string_view name) {
  if (name.empty()) return 0;
  for (std::size_t i = 0; i < bus.shapes.size(); ++i) {
    if (bus.shapes[i].name == name) return i + 1;
  }
  return std::nullopt;
}

BusDescription with_one_shape(const BusDescription& bus, std::size_t shape) {
  BusDescription one = bus;
  one.parts = parts_of(bus, shape);
  one.shapes.clear();
  return one;
}

std::vector<PartPlace> places_of(const std::vector<PartSpec>& parts) {
  std::vector<PartPlace> places;
  Zone zone = Zone::front;
  std::size_t bit = 0;
  for (const PartSpec& part : parts) {
    if (part.payload) {
      places.push_back({Zone::payload, 0, 0});
      zone = Zone::back;
      bit = 0;
      continue;
    }
    const std::size_t bits = part.field ? part.field->bits : part.check ? 8 * CheckPlan::bytes_of(*part.check) : 0;
    places.push_back({zone, bit, bits});
    bit += bits;
  }
  return places;
}

std::vector<ByteRange> covered_by(const std::vector<PartSpec>& parts, std::size_t check_part) {
  const auto places = places_of(parts);
  const CheckSpec& check = *parts[check_part].check;
  struct Bits {
    Zone zone;
    std::size_t from;
    std::size_t to;
  };
  std::vector<Bits> runs;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const bool named =
        std::find(check.covers.begin(), check.covers.end(), name_of_part(parts[i])) != check.covers.end();
    if (check.covers.empty() ? i >= check_part : !named) continue;
    const PartPlace& place = places[i];
    if (place.zone != Zone::payload && !runs.empty() && runs.back().zone == place.zone && runs.back().to == place.bit) {
      runs.back().to += place.bits;
    } else {
      runs.push_back({place.zone, place.bit, place.bit + place.bits});
    }
  }
  std::vector<ByteRange> covers;
  for (const Bits& run : runs) covers.push_back({run.zone, run.from / 8, run.to / 8});
  return covers;
}

std::optional<std::size_t> BlockPlan::payload(std::size_t sent) const {
  const std::size_t whole = bytes + check.bytes();
  const std::size_t left = sent % whole;
  if (left == 0) return sent / whole * bytes;
  if (left <= check.bytes()) return std::nullopt;
  return sent / whole * bytes + left - check.bytes();
}

FramePlan::FramePlan(const BusDescription& bus, std::size_t shape) {
  size_plus_ = bus.framing.size_plus;
  size_unit_ = bus.framing.size_unit;
  fixed_bytes_ = bus.framing.kind == FramingKind::fixed ? bus.framing.fixed_bytes : 0;
  if (shape != 0) only_role = bus.shapes[shape - 1].role;
  list_fields(bus);
  place_parts(bus, shape);
  find_roles(bus);
  find_limits(bus);
  find_known_bits();
  plan_forwarding(bus);
}

void FramePlan::list_fields(const BusDescription& bus) {
  for (std::size_t shape = 0; shape <= bus.shapes.size(); ++shape) {
    for (const PartSpec& part : parts_of(bus, shape)) {
      if (!part.field || slot_named(part.field->name) != no_index) continue;
      SlotPlan slot;
      slot.spec = &*part.field;
      slot.code = FieldCode(*part.field);
      slot.demanded = part.field->constant && !part.field->sent_only;
      slots.push_back(slot);
    }
  }
}

void FramePlan::place_parts(const BusDescription& bus, std::size_t shape) {
  const auto& parts = parts_of(bus, shape);
  const auto places = places_of(parts);
  std::size_t front_bits = 0;
  std::size_t back_bits = 0;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const PartSpec& part = parts[i];
    const PartPlace& place = places[i];
    if (place.zone == Zone::front) front_bits += place.bits;
    if (place.zone == Zone::back) back_bits += place.bits;
    if (part.field) {
      SlotPlan& slot = slots[slot_named(part.field->name)];
      slot.here = true;
      slot.zone = place.zone;
      slot.bit = place.bit;
    } else if (part.check) {
      if (!bus.framing.header_check.empty() && part.check->name == bus.framing.header_check)
        header_check = checks.size();
      checks.emplace_back(*part.check, place.zone, place.bit / 8, covered_by(parts, i));
    } else if (part.payload) {
      has_payload = true;
      if (part.block_bytes != 0 && part.block_check)
        blocks = BlockPlan{part.block_bytes, CheckPlan(*part.block_check, Zone::payload, 0, {})};
    }
  }
  zones = {front_bits / 8, back_bits / 8};
  least = zones.front + zones.back;
}

std::size_t FramePlan::slot_named(std::string_view name) const {
  for (std::size_t i = 0; i < slots.size(); ++i) {
    if (!name.empty() && slots[i].spec->name == name) return i;
  }
  return no_index;
}

void FramePlan::find_roles(const BusDescription& bus) {
  const RolesSpec& roles = bus.roles;
  destination = slot_named(roles.destination.empty() ? roles.distance : roles.destination);
  source = slot_named(roles.source);
  passes_left = slot_named(roles.passes_left);
  exchange = slot_named(roles.exchange);
  topic = slot_named(roles.topic);
  // A shape without the size field is as long as its parts.
  if (const std::size_t slot = slot_named(roles.size); has(slot)) size = slot;
  if (const std::size_t slot = slot_named(bus.framing.size_again); has(slot)) size_again = slot;
  if (roles.tell_role == TellRole::by_field) role = slot_named(roles.role_field);
  if (roles.refusal_mark) mark = slot_named(roles.refusal_mark->field);

  const FramingKind kind = bus.framing.kind;
  const bool hidden = kind == FramingKind::cobs || kind == FramingKind::slip || kind == FramingKind::hdlc ||
                      (kind == FramingKind::marked && bus.framing.hex_text);
  bool all_in_front = true;
  // Where no field tells the role, a ring's nodes go by the sender.
  const std::size_t teller = roles.tell_role == TellRole::by_field ? role : source;
  for (const std::size_t needed : {destination, passes_left, teller}) {
    if (!has(needed)) continue;
    all_in_front = all_in_front && slots[needed].zone == Zone::front;
    head_bytes = std::max(head_bytes, slots[needed].end_byte());
  }
  if (header_check != no_index)
    head_bytes = std::max(head_bytes, checks[header_check].byte() + checks[header_check].bytes());
  // With several shapes only a whole frame tells where these stand.
  if (hidden || !all_in_front || !bus.shapes.empty()) head_bytes = 0;

  if (kind == FramingKind::sized) {
    for (const std::size_t needed : {size, size_again}) {
      if (needed != no_index) judged_bytes = std::max(judged_bytes, slots[needed].end_byte());
    }
    if (size == no_index) judged_bytes = slots.empty() ? 0 : slots.front().end_byte();
    if (header_check != no_index) {
      judged_bytes = std::max(judged_bytes, checks[header_check].byte() + checks[header_check].bytes());
    }
  }
}

void FramePlan::find_limits(const BusDescription& bus) {
  most = bus.framing.max_bytes == 0 ? max_frame_bytes : std::min<std::size_t>(bus.framing.max_bytes, max_frame_bytes);
  if (fixed_bytes_ != 0) {
    most = fixed_bytes_;
    least = fixed_bytes_;
  }
  if (size != no_index) {
    std::uint64_t largest = slots[size].code.limit();
    if (size_again != no_index) largest = std::min(largest, slots[size_again].code.limit());
    // Past this no sum can overflow, and no frame is that long.
    largest = std::min<std::uint64_t>(largest, std::uint64_t{1} << 24U);
    const std::int64_t longest = static_cast<std::int64_t>(largest) * size_unit_ + size_plus_;
    const auto counted = static_cast<std::size_t>(std::max<std::int64_t>(longest, 0));
    const std::size_t bare = zones.front + zones.back;
    // The size may say more than any frame has.
    const std::size_t payload = std::min<std::size_t>(counted > bare ? counted - bare : 0, 2 * max_frame_bytes);
    most = std::min(most, counted > bare ? total_for(payload) : counted);
    if (!blocks) {
      // The longest that is a whole number of units.
      const auto over = (static_cast<std::int64_t>(most) - size_plus_) % size_unit_;
      most -= static_cast<std::size_t>(over < 0 ? over + size_unit_ : over);
    }
  }
  const std::size_t around = zones.front + zones.back;
  most_payload = most > around ? most - around : 0;
  if (blocks) {
    while (most_payload > 0 && total_for(most_payload) > most) --most_payload;
  }
  if (!has_payload) {
    most = std::min(most, around);
    most_payload = 0;
  }
}

std::vector<KnownBits> FramePlan::constants_within(std::size_t bytes) const {
  std::vector<std::uint8_t> value(zones.front, 0);
  std::vector<std::uint8_t> mask(zones.front, 0);
  for (const SlotPlan& slot : slots) {
    if (!slot.here || slot.zone != Zone::front || !slot.demanded || slot.end_byte() > bytes) continue;
    slot.code.store(value.data(), slot.bit, *slot.spec->constant);
    for (std::size_t bit = slot.bit; bit < slot.bit + slot.code.bits; ++bit) store_bits(mask.data(), bit, 1, 1);
  }
  std::vector<KnownBits> constants;
  for (std::size_t byte = 0; byte < zones.front; ++byte) {
    if (mask[byte] != 0) constants.push_back({byte, mask[byte], value[byte]});
  }
  return constants;
}

void FramePlan::find_known_bits() {
  known = constants_within(judged_bytes);
  const auto first = std::find_if(slots.begin(), slots.end(), [](const SlotPlan& slot) {
    return slot.here && slot.zone == Zone::front && slot.bit == 0;
  });
  if (first != slots.end() && first->demanded) lead = constants_within(first->end_byte());
}

bool FramePlan::leads(std::span<const std::uint8_t> start) const {
  for (const KnownBits& known_bits : lead) {
    if (known_bits.byte >= start.size()) break;
    if ((start[known_bits.byte] & known_bits.mask) != known_bits.value) return false;
  }
  return true;
}

void FramePlan::plan_forwarding(const BusDescription& bus) {
  for (const RewriteSpec& spec : bus.forward.rewrite) {
    RewritePlan plan;
    plan.slot = slot_named(spec.field);
    if (!has(plan.slot)) continue;
    plan.add = spec.add;
    const bool is_distance = !bus.roles.distance.empty() && spec.field == bus.roles.distance;
    plan.counts_down = is_distance || plan.slot == passes_left;
    if (is_distance) {
      plan.spared = bus.roles.broadcast;
      plan.spared.push_back(bus.roles.controller_address);
    }
    rewrites.push_back(plan);
  }
  const auto overlaps = [](const ByteRange& a, Zone zone, std::size_t from, std::size_t to) {
    return a.zone == zone && a.from < to && from < a.to;
  };
  // In wire order, since a check may cover checks that stand before it.
  for (std::size_t c = 0; c < checks.size(); ++c) {
    for (const ByteRange& range : checks[c].covers()) {
      for (const RewritePlan& plan : rewrites) {
        const SlotPlan& slot = slots[plan.slot];
        if (overlaps(range, slot.zone, slot.bit / 8, slot.end_byte())) checks[c].follows_forwarding = true;
      }
      for (std::size_t earlier = 0; earlier < c; ++earlier) {
        const CheckPlan& other = checks[earlier];
        if (other.follows_forwarding && overlaps(range, other.zone(), other.byte(), other.byte() + other.bytes())) {
          checks[c].follows_forwarding = true;
        }
      }
    }
  }
}

std::optional<std::size_t> FramePlan::total_of(std::uint64_t raw_size) const {
  if (raw_size > std::uint64_t{1} << 24U) return std::nullopt;
  const std::int64_t counted = static_cast<std::int64_t>(raw_size) * size_unit_ + size_plus_;
  if (counted < static_cast<std::int64_t>(least) || counted > static_cast<std::int64_t>(most)) return std::nullopt;
  const std::size_t total = total_for(static_cast<std::size_t>(counted) - zones.front - zones.back);
  return total <= most ? std::optional(total) : std::nullopt;
}

std::uint64_t FramePlan::raw_size_of(std::size_t payload) const {
  const auto counted = static_cast<std::int64_t>(zones.front + payload + zones.back);
  return static_cast<std::uint64_t>((counted - size_plus_) / size_unit_);
}

std::size_t FramePlan::payload_bytes(std::size_t wanted) const {
  if (fixed_bytes_ != 0) return most_payload;
  std::size_t bytes = std::min(wanted, most_payload);
  if (size == no_index) return bytes;
  // A size field that counts in units, or from more than the bytes around the payload, asks for padding.
  std::int64_t above = static_cast<std::int64_t>(bytes + zones.front + zones.back) - size_plus_;
  if (above < 0) {
    bytes += static_cast<std::size_t>(-above);
    above = 0;
  }
  const std::int64_t over = above % size_unit_;
  if (over != 0) bytes += static_cast<std::size_t>(size_unit_ - over);
  return std::min(bytes, most_payload);
}

}  // namespace hopbench
