#include "random_bus.h"

#include <algorithm>
#include <array>
#include <string>

#include "bus/bits.h"
#include "bus_test_tools.h"
#include "support/buses.h"

namespace hopbench::testing {
namespace {

std::uint64_t full_width(std::uint32_t bits) { return bits >= 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << bits) - 1; }

std::uint64_t drawn_bits(std::uint32_t bits) { return *rc::gen::arbitrary<std::uint64_t>() & full_width(bits); }

bool drawn_one_in(std::uint64_t n) { return drawn(1, n) == n; }

FieldSpec random_field(const std::string& name) {
  FieldSpec field = buses::field(name, 8 * static_cast<std::uint32_t>(drawn(1, 4)));
  switch (drawn(0, 5)) {
    case 1:
      field.little_endian = true;
      break;
    case 2:
      field.digits = Digits::bcd;
      break;
    case 3:
      field.digits = Digits::decimal_text;
      break;
    case 4:
      field.digits = Digits::hex_text;
      break;
    case 5:
      field.bits = 64;
      break;
    default:
      break;
  }
  if (field.digits == Digits::binary && drawn_one_in(6)) field.constant = drawn_bits(field.bits);
  return field;
}

/// One field, or a few that share bytes.
void add_fields(std::vector<PartSpec>& parts, const std::string& name) {
  if (!drawn_one_in(3)) {
    parts.push_back(buses::part(random_field(name)));
    return;
  }
  std::uint32_t left = 8 * static_cast<std::uint32_t>(drawn(1, 3));
  for (int i = 0; left > 0 && i < 3; ++i) {
    const std::uint32_t bits = i == 2 ? left : static_cast<std::uint32_t>(drawn(1, left));
    parts.push_back(buses::part(buses::field(name + std::to_string(i), bits)));
    left -= bits;
  }
}

CheckSpec random_check(const std::string& name) {
  CheckSpec check;
  check.name = name;
  check.little_endian = drawn_one_in(2);
  switch (drawn(0, 8)) {
    case 5:
      check.kind = SumKind::ones_sum;
      check.bits = std::array{8U, 16U, 32U}[drawn(0, 2)];
      break;
    case 6:
      check.kind = SumKind::negated_ones_sum;
      check.bits = std::array{8U, 16U, 32U}[drawn(0, 2)];
      break;
    case 7:
      check.kind = SumKind::fletcher;
      check.bits = std::array{16U, 32U}[drawn(0, 1)];
      break;
    case 8:
      check.kind = SumKind::fletcher_256;
      check.bits = 16;
      break;
    case 0:
      check.kind = SumKind::sum;
      check.bits = std::array{5U, 7U, 8U, 16U, 32U}[drawn(0, 4)];
      break;
    case 1:
      check.kind = SumKind::negated_sum;
      check.bits = std::array{7U, 8U, 16U}[drawn(0, 2)];
      break;
    case 2:
      check.kind = SumKind::exclusive_or;
      break;
    default: {
      const auto width = static_cast<std::uint32_t>(drawn(8, 33));
      check.crc = {width,           drawn_bits(width) | 1U, drawn_bits(width),
                   drawn_one_in(2), drawn_one_in(2),        drawn_bits(width)};
    }
  }
  const auto digits = static_cast<Digits>(drawn(0, 6));
  if (digits == Digits::hex_text && check.width() <= 32) {
    check.digits = digits;
    check.little_endian = check.little_endian && check.width() % 8 == 0;
  }
  const std::uint32_t most = digits == Digits::bcd ? 53 : 26;
  if ((digits == Digits::bcd || digits == Digits::decimal_text) && check.width() <= most) {
    check.digits = digits;
    check.little_endian = false;
  }
  return check;
}

/// A further shape, told from the first by its first byte; with a payload or without.
void add_shape(BusDescription& bus) {
  const bool sized = bus.framing.kind == FramingKind::sized;
  if (!sized) bus.parts.insert(bus.parts.begin(), buses::part(buses::constant("lead", 8, drawn_bits(8))));
  const std::uint64_t lead = *bus.parts.front().field->constant;
  ShapeSpec shape;
  shape.name = "other";
  shape.parts.push_back(buses::part(buses::constant("other_lead", 8, lead ^ drawn(1, 255))));
  const bool payload = drawn_one_in(2);
  for (const PartSpec& part : bus.parts) {
    if (!part.field) continue;
    const std::string& name = part.field->name;
    if ((name == "size" && payload) || name == "role" || name == "passes") shape.parts.push_back(part);
  }
  if (payload) shape.parts.push_back(buses::payload_part());
  shape.parts.push_back(buses::part(random_check("other_check")));
  if (!sized || bus.framing.header_check.empty()) bus.shapes.push_back(shape);
}

/// Sends the payload in blocks with a check each.
void part_in_blocks(BusDescription& bus) {
  for (PartSpec& part : bus.parts) {
    if (!part.payload) continue;
    part.block_bytes = static_cast<std::uint32_t>(drawn(1, 20));
    part.block_check = random_check("block");
  }
  bus.framing.size_unit = 1;
}

/// Forwards a whole byte of the header, so that any check can follow.
void add_forwarding(BusDescription& bus) {
  bus.forward.rewrite = {{"passes", -1}};
  bus.roles.passes_left = "passes";
  bus.forward.repair = drawn_one_in(2) ? CheckRepair::by_difference : CheckRepair::if_good;
}

}  // namespace

std::uint64_t drawn(std::uint64_t low, std::uint64_t high) { return *rc::gen::inRange<std::uint64_t>(low, high + 1); }

std::vector<std::uint8_t> random_bytes(std::size_t count) {
  return *rc::gen::container<std::vector<std::uint8_t>>(count, rc::gen::arbitrary<std::uint8_t>());
}

BusDescription random_bus() { return random_bus(static_cast<FramingKind>(drawn(0, 6))); }

BusDescription random_bus(FramingKind kind) {
  BusDescription bus;
  bus.name = "random";
  bus.line.baud = std::array{1200U, 9600U, 19200U, 115200U}[drawn(0, 3)];
  bus.line.parity = drawn_one_in(2) ? Parity::even : Parity::none;
  bus.line.stop_half_bits = static_cast<std::uint32_t>(drawn(2, 4));
  FramingSpec& framing = bus.framing;
  framing.kind = kind;
  if (kind != FramingKind::silence) framing.abandon_char_tenths = static_cast<std::uint32_t>(drawn(15, 60));
  if (kind != FramingKind::fixed) framing.max_bytes = static_cast<std::uint32_t>(drawn(120, 300));

  if (kind == FramingKind::sized) {
    bus.parts.push_back(buses::part(buses::constant("marker", 8, drawn_bits(8))));
    FieldSpec size = buses::field("size", 16);
    size.little_endian = drawn_one_in(2);
    bus.parts.push_back(buses::part(size));
    bus.roles.size = "size";
  }
  bus.parts.push_back(buses::part(buses::field("role", 8)));
  bus.parts.push_back(buses::part(buses::field("passes", 8)));
  const std::uint64_t more = drawn(0, 2);
  for (std::uint64_t i = 0; i < more; ++i) add_fields(bus.parts, "front" + std::to_string(i));
  if (kind == FramingKind::sized && drawn_one_in(2)) {
    bus.parts.push_back(buses::part(random_check("header_check")));
    framing.header_check = "header_check";
  }
  bus.parts.push_back(buses::payload_part());
  if (drawn_one_in(3)) add_fields(bus.parts, "back");
  CheckSpec last = random_check("last");
  if (drawn_one_in(3)) last.covers = {"role", "payload"};
  bus.parts.push_back(buses::part(last));
  if (drawn_one_in(4)) bus.parts.push_back(buses::part(random_check("outer")));

  switch (kind) {
    case FramingKind::sized:
      framing.size_plus = static_cast<std::int64_t>(drawn(0, 8));
      framing.size_unit = static_cast<std::uint32_t>(drawn(1, 2));
      break;
    case FramingKind::cobs:
    case FramingKind::slip:
    case FramingKind::hdlc:
      framing.leading_boundary = drawn_one_in(2);
      break;
    case FramingKind::fixed:
      framing.fixed_bytes = static_cast<std::uint32_t>(drawn(90, 110));
      break;
    case FramingKind::silence:
      framing.silence_char_tenths = static_cast<std::uint32_t>(drawn(15, 60));
      framing.silence_least_us = static_cast<std::uint32_t>(drawn(0, 2000));
      break;
    case FramingKind::marked:
      framing.hex_text = drawn_one_in(2);
      framing.start = drawn_one_in(4) ? std::vector<std::uint8_t>{} : std::vector<std::uint8_t>{0x3A};
      framing.end = drawn_one_in(4) && !framing.start.empty() ? std::vector<std::uint8_t>{}
                                                              : std::vector<std::uint8_t>{0x0D, 0x0A};
      if (framing.end.size() == 2 && drawn_one_in(2)) framing.end.pop_back();
      if (framing.hex_text) {
        for (PartSpec& part : bus.parts) {
          if (part.check) part.check->over_text = drawn_one_in(2);
        }
      }
      break;
  }
  if (kind != FramingKind::fixed && drawn_one_in(3)) part_in_blocks(bus);
  if (kind != FramingKind::fixed && drawn_one_in(3)) add_shape(bus);
  bus.roles.role_field = "role";
  bus.roles.role_codes = {{Role::ask, 1}, {Role::answer, 2}};
  add_forwarding(bus);
  TopicSpec topic;
  topic.name = "only";
  bus.topics = {topic};
  return bus;
}

namespace {

/// Index into Frame::field: fields in the order in which they first appear.
std::size_t place_of(const BusDescription& bus, const std::string& name) {
  std::vector<std::string> names;
  const auto add = [&](const std::vector<PartSpec>& parts) {
    for (const PartSpec& part : parts) {
      if (part.field && std::find(names.begin(), names.end(), part.field->name) == names.end())
        names.push_back(part.field->name);
    }
  };
  add(bus.parts);
  for (const ShapeSpec& shape : bus.shapes) add(shape.parts);
  return static_cast<std::size_t>(std::find(names.begin(), names.end(), name) - names.begin());
}

}  // namespace

Frame random_frame(const Protocol& protocol, std::size_t longest_payload) {
  const FramingSpec& framing = protocol.description().framing;
  Frame frame;
  for (int attempt = 0; attempt < 100; ++attempt) {
    const BusDescription& bus = protocol.description();
    frame = {};
    frame.shape = static_cast<std::uint8_t>(drawn(0, bus.shapes.size()));
    const auto& parts = frame.shape == 0 ? bus.parts : bus.shapes[frame.shape - 1].parts;
    bool payload = false;
    for (const PartSpec& part : parts) {
      payload = payload || part.payload;
      if (!part.field) continue;
      const std::size_t slot = place_of(bus, part.field->name);
      const std::uint64_t limit = FieldCode::limit_of(*part.field);
      const auto any = *rc::gen::arbitrary<std::uint64_t>();
      frame.field[slot] = part.field->constant         ? *part.field->constant
                          : limit == ~std::uint64_t{0} ? any
                                                       : any % (limit + 1);
    }
    std::size_t bytes = std::min(drawn(0, longest_payload), protocol.most_payload());
    if (!payload) bytes = 0;
    if (framing.kind == FramingKind::fixed) bytes = protocol.most_payload();
    frame.payload.assign(random_bytes(bytes));
    Content content;
    protocol.encode(frame, content);
    // Sizes are set, and payloads padded where the size counts in units.
    if (protocol.parse(content.view(), frame) != Damage::none) RC_FAIL("a frame just encoded does not parse");
    const auto in_marker = [&](std::uint8_t byte) {
      return std::find(framing.start.begin(), framing.start.end(), byte) != framing.start.end() ||
             std::find(framing.end.begin(), framing.end.end(), byte) != framing.end.end();
    };
    if (framing.kind != FramingKind::marked || framing.hex_text) return frame;
    if (std::none_of(content.view().begin(), content.view().end(), in_marker)) return frame;
  }
  RC_DISCARD("no frame without marker bytes");
}

}  // namespace hopbench::testing
