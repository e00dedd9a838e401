#include "support/buses.h"

#include <utility>

namespace hopbench::buses {

FieldSpec field(std::string name, std::uint32_t bits) {
  FieldSpec spec;
  spec.name = std::move(name);
  spec.bits = bits;
  return spec;
}

FieldSpec constant(std::string name, std::uint32_t bits, std::uint64_t value) {
  FieldSpec spec = field(std::move(name), bits);
  spec.constant = value;
  return spec;
}

FieldSpec quantity(std::string name, std::uint32_t bits, std::string quantity, std::string unit) {
  FieldSpec spec = field(std::move(name), bits);
  spec.quantity = std::move(quantity);
  spec.unit = std::move(unit);
  return spec;
}

FieldSpec copied(std::string name, std::uint32_t bits, std::string ask_field) {
  FieldSpec spec = field(std::move(name), bits);
  spec.copied_from_ask = std::move(ask_field);
  return spec;
}

PartSpec part(FieldSpec field) {
  PartSpec spec;
  spec.field = std::move(field);
  return spec;
}

PartSpec part(CheckSpec check) {
  PartSpec spec;
  spec.check = std::move(check);
  return spec;
}

PartSpec payload_part() {
  PartSpec spec;
  spec.payload = true;
  return spec;
}

LayoutItem item(FieldSpec field) {
  LayoutItem spec;
  spec.field = std::move(field);
  return spec;
}

LayoutItem item(GroupSpec group) {
  LayoutItem spec;
  spec.group = std::move(group);
  return spec;
}

namespace {

GroupSpec group(std::string name, std::vector<FieldSpec> fields) {
  GroupSpec spec;
  spec.name = std::move(name);
  spec.fields = std::move(fields);
  return spec;
}

GroupSpec counted(std::string name, std::string count_field, std::vector<FieldSpec> fields) {
  GroupSpec spec = group(std::move(name), std::move(fields));
  spec.count_field = std::move(count_field);
  return spec;
}

GroupSpec once(std::string name, std::vector<FieldSpec> fields) {
  GroupSpec spec = group(std::move(name), std::move(fields));
  spec.times = 1;
  return spec;
}

TopicSpec topic(std::string name, std::uint64_t code, bool changes, Layout ask, Layout answer) {
  TopicSpec spec;
  spec.name = std::move(name);
  spec.code = code;
  spec.changes = changes;
  spec.ask = std::move(ask);
  spec.answer = std::move(answer);
  return spec;
}

FieldSpec tenths_of_a_degree(std::string name) {
  FieldSpec spec = quantity(std::move(name), 16, "board_temp_mc", "m°C");
  spec.is_signed = true;
  spec.scale.num = 100;
  return spec;
}

RegisterSpec registers(std::uint32_t first, std::uint32_t count, std::string name, bool writable = false) {
  RegisterSpec spec;
  spec.first = first;
  spec.count = count;
  spec.quantity = std::move(name);
  spec.writable = writable;
  return spec;
}

}  // namespace

BusDescription bench_frame() {
  BusDescription bus;
  bus.name = "bench-frame";
  bus.line.baud = 38400;
  bus.framing.kind = FramingKind::sized;
  bus.framing.size_plus = 12;
  bus.framing.header_check = "header_check";
  bus.framing.abandon_char_tenths = 30;
  bus.framing.max_bytes = 12 + 160;

  FieldSpec revision = constant("revision", 3, 1);
  revision.sent_only = true;
  CheckSpec header_check;
  header_check.name = "header_check";
  header_check.crc = {.width = 8, .poly = 0x2F};
  header_check.covers = {"passes_left", "revision", "role", "to", "from", "size"};
  CheckSpec check;
  check.name = "check";
  check.crc = {.width = 16, .poly = 0x3D65, .xorout = 0xFFFF};
  check.covers = {"marker", "revision", "role", "to", "from", "size", "exchange", "topic", "payload"};
  bus.parts = {part(constant("marker", 8, 0xB5)),
               part(field("passes_left", 8)),
               part(revision),
               part(field("role", 5)),
               part(field("to", 8)),
               part(field("from", 8)),
               part(field("size", 8)),
               part(header_check),
               part(field("exchange", 16)),
               part(field("topic", 8)),
               payload_part(),
               part(check)};

  bus.roles.destination = "to";
  bus.roles.source = "from";
  bus.roles.broadcast = {255};
  bus.roles.first_unenrolled = 254;
  bus.roles.controller_address = 0;
  bus.roles.passes_left = "passes_left";
  bus.roles.exchange = "exchange";
  bus.roles.topic = "topic";
  bus.roles.size = "size";
  bus.roles.tell_role = TellRole::by_field;
  bus.roles.role_field = "role";
  bus.roles.role_codes = {{Role::ask, 1}, {Role::answer, 2}, {Role::refusal, 3}, {Role::notice, 4}};
  bus.roles.refusal = {item(field("reason", 8))};
  bus.roles.refusal_code_field = "reason";
  bus.roles.refusal_codes = {{"unknown_topic", 1}, {"bad_address", 2}, {"bad_value", 3}, {"busy", 4}, {"bad_check", 5}};

  bus.forward.rewrite = {{"passes_left", -1}};
  bus.forward.repair = CheckRepair::by_difference;

  bus.topics.push_back(topic("nameplate", 1, false, {},
                             {item(quantity("serial", 32, "serial_number")), item(quantity("kind", 8, "kind_code")),
                              item(quantity("cells", 8, "cell_count"))}));

  TopicSpec readings = topic("readings", 2, false, {item(field("first", 8)), item(field("count", 8))},
                             {item(copied("first", 8, "first")), item(copied("count", 8, "count")),
                              item(quantity("age", 16, "snapshot_age_ms", "ms")),
                              item(counted("cells", "count", {quantity("cell", 16, "cell_mv", "mV")}))});
  readings.first_field = "first";
  readings.count_field = "count";
  readings.values_group = "cells";
  bus.topics.push_back(readings);

  bus.topics.push_back(
      topic("limits", 3, true,
            {item(quantity("low", 16, "low_limit_mv", "mV")), item(quantity("high", 16, "high_limit_mv", "mV"))},
            {item(quantity("low", 16, "low_limit_mv", "mV")), item(quantity("high", 16, "high_limit_mv", "mV"))}));
  bus.topics.push_back(topic("bleed", 4, true, {item(quantity("cells", 16, "bleed_mask"))},
                             {item(quantity("cells", 16, "bleed_mask"))}));
  bus.topics.push_back(
      topic("line_health", 5, false, {},
            {item(quantity("heard", 32, "frames_heard")), item(quantity("damaged", 16, "check_failures")),
             item(quantity("up", 32, "uptime_s", "s"))}));
  bus.topics.push_back(
      topic("enrol", 6, true, {item(field("address", 8))},
            {item(quantity("serial", 32, "serial_number")), item(quantity("cells", 8, "cell_count"))}));
  bus.topics.push_back(topic("conditions", 7, false, {},
                             {item(tenths_of_a_degree("board")), item(quantity("supply", 16, "supply_mv", "mV")),
                              item(quantity("bleeding", 16, "bleed_mask"))}));
  return bus;
}

BusDescription modbus_rtu() {
  BusDescription bus;
  bus.name = "modbus-rtu";
  bus.line.baud = 19200;
  bus.line.parity = Parity::even;
  bus.framing.kind = FramingKind::silence;
  bus.framing.silence_char_tenths = 35;
  bus.framing.silence_least_us = 1750;
  bus.framing.silence_fixed_above_baud = 19200;
  bus.framing.max_bytes = 256;

  CheckSpec check;
  check.name = "check";
  check.crc = {.width = 16, .poly = 0x8005, .init = 0xFFFF, .refin = true, .refout = true};
  check.little_endian = true;
  bus.parts = {part(field("address", 8)), part(field("function", 8)), payload_part(), part(check)};

  bus.roles.destination = "address";
  bus.roles.broadcast = {0};
  bus.roles.topic = "function";
  bus.roles.tell_role = TellRole::by_pending_ask;
  bus.roles.refusal_mark = MarkSpec{"function", 0x80, 0x80};
  bus.roles.refusal = {item(field("code", 8))};
  bus.roles.refusal_code_field = "code";
  bus.roles.refusal_codes = {{"unknown_topic", 1}, {"bad_address", 2}, {"bad_value", 3}, {"busy", 6}};

  bus.forward.repair = CheckRepair::untouched;
  bus.forward.unclaimed = Unclaimed::last_node_stops_it;
  bus.forward.least_gap_char_tenths = 40;

  FieldSpec bytes = field("bytes", 8);
  bytes.scale.den = 2;
  const auto values = [] { return std::vector<FieldSpec>{field("value", 16)}; };
  for (const auto& [name, code] : {std::pair{"read_holding", 3U}, std::pair{"read_input", 4U}}) {
    TopicSpec read = topic(name, code, false, {item(field("first", 16)), item(field("count", 16))},
                           {item(bytes), item(counted("values", "bytes", values()))});
    read.first_field = "first";
    read.count_field = "count";
    read.values_group = "values";
    bus.topics.push_back(read);
  }
  TopicSpec single = topic("write_single", 6, true, {item(field("first", 16)), item(once("values", values()))},
                           {item(copied("first", 16, "first")), item(copied("value", 16, "value"))});
  single.first_field = "first";
  single.values_group = "values";
  bus.topics.push_back(single);
  TopicSpec several = topic(
      "write_several", 16, true,
      {item(field("first", 16)), item(field("count", 16)), item(bytes), item(counted("values", "bytes", values()))},
      {item(copied("first", 16, "first")), item(copied("count", 16, "count"))});
  several.first_field = "first";
  several.count_field = "count";
  several.values_group = "values";
  bus.topics.push_back(several);

  bus.registers = {registers(0, 16, "cell_mv"),
                   registers(100, 1, "snapshot_age_ms"),
                   registers(101, 1, "cell_count"),
                   registers(103, 1, "supply_mv"),
                   registers(104, 1, "bleed_mask", true),
                   registers(105, 1, "low_limit_mv", true),
                   registers(106, 1, "high_limit_mv", true),
                   registers(110, 1, "frames_heard"),
                   registers(111, 1, "check_failures")};
  RegisterSpec board = registers(102, 1, "board_temp_mc");
  board.is_signed = true;
  board.scale.num = 100;
  bus.registers.push_back(board);
  return bus;
}

BusDescription old_style() {
  BusDescription bus;
  bus.name = "old-style";
  bus.line.baud = 2400;
  bus.line.stop_half_bits = 4;
  bus.framing.kind = FramingKind::fixed;
  bus.framing.fixed_bytes = 8;
  bus.framing.abandon_char_tenths = 50;

  CheckSpec sum;
  sum.name = "sum";
  sum.kind = SumKind::sum;
  sum.bits = 8;
  bus.parts = {part(field("unit", 8)), part(field("direction", 1)), part(field("command", 7)), payload_part(),
               part(sum)};

  bus.roles.destination = "unit";
  bus.roles.broadcast = {255};
  bus.roles.topic = "command";
  bus.roles.tell_role = TellRole::by_field;
  bus.roles.role_field = "direction";
  bus.roles.role_codes = {{Role::ask, 0}, {Role::answer, 1}};
  bus.roles.refusal_mark = MarkSpec{"command", 0x40, 0x40};
  bus.roles.refusal = {item(field("why", 8))};
  bus.roles.refusal_code_field = "why";
  bus.roles.refusal_codes = {{"unknown_topic", 1}, {"bad_value", 2}};

  bus.forward.repair = CheckRepair::untouched;
  bus.forward.unclaimed = Unclaimed::last_node_stops_it;

  FieldSpec millivolts = quantity("millivolts", 16, "cell_mv", "mV");
  millivolts.digits = Digits::bcd;
  TopicSpec cell = topic("cell", 1, false, {item(field("cell", 8))},
                         {item(copied("cell", 8, "cell")), item(once("reading", {millivolts}))});
  cell.first_field = "cell";
  cell.values_group = "reading";
  bus.topics.push_back(cell);
  bus.topics.push_back(topic("bleed", 2, true, {item(quantity("cells", 16, "bleed_mask"))},
                             {item(quantity("cells", 16, "bleed_mask"))}));
  bus.topics.push_back(topic("board", 3, false, {},
                             {item(tenths_of_a_degree("board")), item(quantity("supply", 16, "supply_mv", "mV"))}));
  return bus;
}

}  // namespace hopbench::buses
