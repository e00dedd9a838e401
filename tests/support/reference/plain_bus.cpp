#include "support/reference/plain_bus.h"

#include "support/buses.h"

namespace hopbench::reference {
namespace {

using namespace buses;

CheckSpec check_of(const PlainBus& bus) {
  CheckSpec check;
  check.name = "check";
  check.little_endian = bus.little_endian;
  switch (bus.check) {
    case PlainCheck::crc16_en13757:
      check.crc = {.width = 16, .poly = 0x3D65, .xorout = 0xFFFF};
      break;
    case PlainCheck::crc16_modbus:
      check.crc = {.width = 16, .poly = 0x8005, .init = 0xFFFF, .refin = true, .refout = true};
      break;
    case PlainCheck::crc8_opensafety:
      check.crc = {.width = 8, .poly = 0x2F};
      break;
    case PlainCheck::sum8:
      check.kind = SumKind::sum;
      break;
    case PlainCheck::negated_sum8:
      check.kind = SumKind::negated_sum;
      break;
    case PlainCheck::exclusive_or:
      check.kind = SumKind::exclusive_or;
      break;
  }
  return check;
}

FramingSpec framing_of(const PlainBus& bus) {
  FramingSpec framing;
  framing.leading_boundary = bus.leading_boundary;
  framing.abandon_char_tenths = plain_abandon_char_tenths;
  switch (bus.framing) {
    case PlainFraming::sized:
    case PlainFraming::sized_checked:
      framing.kind = FramingKind::sized;
      if (bus.framing == PlainFraming::sized_checked) framing.header_check = "head";
      break;
    case PlainFraming::fixed:
      framing.kind = FramingKind::fixed;
      break;
    case PlainFraming::marked:
      framing.kind = FramingKind::marked;
      framing.start = {0xFA, 0xFB};
      framing.end = {0xFE, 0xFF, 0xFD};
      break;
    case PlainFraming::open_marked:
      framing.kind = FramingKind::marked;
      framing.start = {0xFA, 0xFB};
      break;
    case PlainFraming::hex_text:
      framing.kind = FramingKind::marked;
      framing.start = {':'};
      framing.end = {'\r', '\n'};
      framing.hex_text = true;
      break;
    case PlainFraming::slip:
      framing.kind = FramingKind::slip;
      break;
    case PlainFraming::hdlc:
      framing.kind = FramingKind::hdlc;
      break;
    case PlainFraming::cobs:
      framing.kind = FramingKind::cobs;
      break;
    case PlainFraming::silence:
      framing.kind = FramingKind::silence;
      framing.abandon_char_tenths = 0;
      framing.silence_char_tenths = bus.silence_char_tenths;
      framing.silence_least_us = bus.silence_least_us;
      framing.silence_fixed_above_baud = bus.silence_fixed_above_baud;
      break;
  }
  return framing;
}

TopicSpec topic(PlainTopic code, bool changes, Layout ask, Layout answer) {
  TopicSpec spec;
  spec.name = name_of_topic(code);
  spec.code = code;
  spec.changes = changes;
  spec.ask = std::move(ask);
  spec.answer = std::move(answer);
  return spec;
}

std::vector<TopicSpec> topics() {
  const LayoutItem low = item(quantity("low", 16, "low_limit_mv", "mV"));
  FieldSpec high = quantity("high", 16, "high_limit_mv", "mV");  // tens of millivolts above one volt, low byte first
  high.little_endian = true;
  high.scale = {10, 1, 1000};
  FieldSpec cell = quantity("cell", 16, "cell_mv", "mV");  // steps of 2.5 mV above one volt
  cell.scale = {5, 2, 1000};
  GroupSpec group;
  group.name = "values";
  group.count_field = "count";
  group.fields = {cell};
  TopicSpec read = topic(PlainTopic::cells, false, {item(field("first", 8)), item(field("count", 8))},
                         {item(copied("first", 8, "first")), item(copied("count", 8, "count")), item(group)});
  read.first_field = "first";
  read.count_field = "count";
  read.values_group = "values";
  const Layout nameplate = {item(quantity("cells", 8, "cell_count")), item(quantity("kind", 8, "kind_code")),
                            item(quantity("address", 8, "address"))};
  return {topic(PlainTopic::plate, false, {}, nameplate),
          read,
          topic(PlainTopic::set_low, true, {low}, {low, item(high)}),
          topic(PlainTopic::limits, false, {}, {low, item(high)}),
          topic(PlainTopic::echo, false, {item(field("token", 16))},
                {item(copied("token", 16, "token")), item(constant("fixed", 8, 0x5A))}),
          topic(PlainTopic::extra, false, {}, nameplate)};
}

}  // namespace

const char* name_of_topic(PlainTopic topic) {
  static constexpr const char* names[] = {"", "plate", "cells", "set_low", "limits", "echo", "extra"};
  return names[topic];
}

BusDescription described(const PlainBus& bus) {
  BusDescription made;
  made.name = "plain";
  made.line = bus.line;
  made.framing = framing_of(bus);
  std::vector<std::string> all;
  std::vector<std::string> unchanged;
  std::int64_t bytes = 0;
  const auto add = [&](const FieldSpec& spec, bool changes) {
    made.parts.push_back(part(spec));
    all.push_back(spec.name);
    if (!changes) unchanged.push_back(spec.name);
    bytes += spec.bits / 8;
  };
  if (bus.sized()) add(constant("marker", 8, 0xB5), false);
  if (bus.passes) add(field("passes", 8), true);
  if (bus.role_field()) add(field("role", 8), false);
  add(field("to", 8), bus.distance);
  if (bus.source) add(field("from", 8), false);
  if (bus.sized()) add(field("size", 8), false);
  if (bus.framing == PlainFraming::sized_checked) {
    CheckSpec head;
    head.name = "head";
    head.crc = {.width = 8, .poly = 0x31, .refin = true, .refout = true};
    made.parts.push_back(part(head));
    all.push_back(head.name);
    bytes += 1;
  }
  if (bus.number_bytes > 0) {
    FieldSpec number = field("number", 8 * bus.number_bytes);
    number.little_endian = bus.little_endian;
    add(number, false);
  }
  add(field("topic", 8), false);
  made.parts.push_back(payload_part());
  all.emplace_back("payload");
  unchanged.emplace_back("payload");
  CheckSpec check = check_of(bus);
  check.covers = bus.check_covers_way ? all : unchanged;
  made.parts.push_back(part(check));
  bytes += check.kind == SumKind::crc ? check.crc.width / 8 : 1;

  if (bus.sized()) {
    made.roles.size = "size";
    made.framing.size_plus = bytes;
  }
  if (bus.framing == PlainFraming::fixed)
    made.framing.fixed_bytes = static_cast<std::uint32_t>(bytes) + plain_fixed_payload;

  RolesSpec& roles = made.roles;
  (bus.distance ? roles.distance : roles.destination) = "to";
  if (bus.source) roles.source = "from";
  if (bus.passes) roles.passes_left = "passes";
  if (bus.number_bytes > 0) roles.exchange = "number";
  roles.topic = "topic";
  roles.broadcast = {plain_everyone};
  roles.controller_address = plain_controller;
  roles.tell_role = bus.tell_role;
  if (bus.role_field()) {
    roles.role_field = "role";
    roles.role_codes = {{Role::ask, 0x11}, {Role::answer, 0x12}, {Role::refusal, 0x13}};
  } else {
    roles.refusal_mark = MarkSpec{"topic", 0x80, 0x80};
  }
  roles.refusal = {item(field("why", 8))};
  roles.refusal_code_field = "why";
  roles.refusal_codes = {
      {"unknown_topic", plain_unknown_topic}, {"bad_address", plain_bad_address}, {"bad_value", plain_bad_value}};

  if (bus.passes) made.forward.rewrite.push_back({"passes", -1});
  if (bus.distance) made.forward.rewrite.push_back({"to", -1});
  made.forward.repair = bus.repair;
  made.forward.unclaimed = bus.unclaimed;
  made.forward.pass_unknown_topic = bus.pass_unknown_topic;
  made.forward.least_gap_char_tenths = bus.least_gap_char_tenths;
  made.topics = topics();
  return made;
}

}  // namespace hopbench::reference
