#include "support/wild_scenario.h"

#include <algorithm>
#include <string>
#include <utility>

#include "bus/check_plan.h"
#include "support/buses.h"
#include "support/dice.h"

namespace hopbench {
namespace {

using buses::constant;
using buses::copied;
using buses::field;
using buses::item;
using buses::part;
using buses::quantity;

FieldSpec only_if(FieldSpec spec, std::string name, std::uint64_t value) {
  spec.present_if = std::move(name);
  spec.present_value = value;
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

void add_topics(BusDescription& bus) {
  GroupSpec cells;
  cells.name = "cells";
  cells.count_field = "count";
  cells.fields = {quantity("cell", 16, "cell_mv", "mV")};
  TopicSpec readings = topic("readings", 1, false, {item(field("first", 8)), item(field("count", 8))},
                             {item(copied("first", 8, "first")), item(copied("count", 8, "count")),
                              item(quantity("age", 16, "snapshot_age_ms", "ms")), item(cells)});
  readings.first_field = "first";
  readings.count_field = "count";
  readings.values_group = "cells";
  bus.topics.push_back(readings);
  // Counters of few bits are soon at their end.
  bus.topics.push_back(
      topic("health", 2, false, {},
            {item(quantity("heard", 16, "frames_heard")), item(quantity("damaged", 8, "check_failures")),
             item(quantity("up", 16, "uptime_s", "s"))}));
  bus.topics.push_back(topic("sometimes", 3, false, {},
                             {item(quantity("damaged", 8, "check_failures")), item(quantity("bled", 8, "bleed_mask")),
                              item(only_if(quantity("heard", 24, "frames_heard"), "damaged", 1)),
                              item(only_if(quantity("up", 16, "uptime_s", "s"), "bled", 3))}));
  GroupSpec own = cells;
  own.count_field = "of";
  bus.topics.push_back(topic("all", 4, false, {}, {item(quantity("of", 8, "cell_count")), item(own)}));
  // A node that has heard damage tells of that, and not of the cells that it is asked for.
  GroupSpec unless_damaged = cells;
  unless_damaged.fields = {only_if(quantity("cell", 16, "cell_mv", "mV"), "damaged", 0)};
  TopicSpec some =
      topic("some", 8, false, {item(field("count", 8))},
            {item(copied("count", 8, "count")), item(quantity("damaged", 8, "check_failures")), item(unless_damaged)});
  some.count_field = "count";
  some.values_group = "cells";
  bus.topics.push_back(some);
  bus.topics.push_back(
      topic("bleed", 5, true, {item(quantity("cells", 8, "bleed_mask"))}, {item(quantity("cells", 8, "bleed_mask"))}));
  bus.topics.push_back(topic("enrol", 6, true, {item(field("address", 8))}, {item(quantity("at", 8, "address"))}));
  FieldSpec digits = quantity("heard", 24, "frames_heard");
  digits.digits = Digits::decimal_text;
  FieldSpec packed = quantity("supply", 24, "supply_mv", "mV");
  packed.digits = Digits::bcd;
  bus.topics.push_back(topic("digits", 7, false, {}, {item(digits), item(packed)}));
}

/// A small bus of some framing.
BusDescription small_bus(Dice& dice) {
  BusDescription bus;
  bus.name = "small";
  bus.line.baud = dice.of<std::uint32_t>({9600, 19200, 57600, 115200});
  bus.forward.repair = CheckRepair::by_difference;
  CheckSpec check;
  check.name = "check";
  check.crc = {.width = 16, .poly = 0x1021, .init = 0xFFFF};
  if (dice.one_in(4)) {
    check.kind = SumKind::sum;
    check.bits = 8;
  }
  const bool passes = dice.one_in(2);
  const std::uint32_t ticket_bits = dice.of<std::uint32_t>({2, 4, 8});
  bus.parts = {part(field("role", 2)),
               part(field("topic", 6)),
               part(field("to", 8)),
               part(field("from", 8)),
               part(field("exchange", ticket_bits)),
               part(field("rest", 16 - ticket_bits))};
  bus.parts.back().field->constant = 0;
  if (passes) {
    bus.parts.push_back(part(field("passes", 8)));
    bus.roles.passes_left = "passes";
    bus.forward.rewrite = {{"passes", -1}};
  }
  switch (dice.up_to(7)) {
    case 0:
      bus.framing.kind = FramingKind::cobs;
      bus.framing.leading_boundary = dice.one_in(2);
      break;
    case 1:
      bus.framing.kind = dice.one_in(2) ? FramingKind::slip : FramingKind::hdlc;
      bus.framing.leading_boundary = bus.framing.kind == FramingKind::hdlc || dice.one_in(2);
      break;
    case 2:
      bus.framing.kind = FramingKind::cobs;
      break;
    case 3:
      bus.framing.kind = FramingKind::marked;
      bus.framing.hex_text = true;
      bus.framing.start = {':'};
      if (dice.one_in(2)) bus.framing.end = {'\r', '\n'};
      check.over_text = dice.one_in(3);
      break;
    case 6:
      // Bytes as they are between markers, so that what a frame says can look like one.
      bus.framing.kind = FramingKind::marked;
      bus.framing.start = {0xA5};
      if (!dice.one_in(3)) bus.framing.end = {static_cast<std::uint8_t>(dice.of<int>({0x00, 0x0D, 0x41}))};
      if (!bus.framing.end.empty() && dice.one_in(2)) bus.framing.start.clear();
      break;
    case 4:
      bus.framing.kind = FramingKind::silence;
      bus.framing.silence_char_tenths = static_cast<std::uint32_t>(dice.between(15, 60));
      break;
    case 5:
      bus.framing.kind = FramingKind::fixed;
      bus.framing.fixed_bytes = 48;
      break;
    default:
      bus.framing.kind = FramingKind::sized;
      bus.parts.insert(bus.parts.begin(), part(constant("marker", 8, 0xA9)));
      bus.parts.push_back(part(field("size", 8)));
      bus.roles.size = "size";
      bus.framing.size_plus = passes ? 8 : 7;
      bus.framing.size_plus += check.kind == SumKind::sum ? 1 : 2;
      break;
  }
  if (bus.framing.kind != FramingKind::silence) bus.framing.abandon_char_tenths = 30;
  if (bus.framing.kind == FramingKind::sized) bus.framing.size_plus = check.kind == SumKind::sum ? 8 : 9;
  if (bus.framing.kind == FramingKind::sized && passes) ++bus.framing.size_plus;
  bus.framing.max_bytes = 64;
  // Characters that do not carry all of what a frame says, unless it is text.
  if (dice.one_in(6)) bus.line.data_bits = 7;
  if (bus.framing.kind == FramingKind::fixed) bus.framing.max_bytes = 0;
  bus.parts.push_back(buses::payload_part());
  bus.parts.push_back(part(check));

  RolesSpec& roles = bus.roles;
  roles.destination = "to";
  roles.source = "from";
  roles.broadcast = {255};
  roles.first_unenrolled = 254;
  roles.exchange = "exchange";
  roles.topic = "topic";
  roles.role_field = "role";
  roles.role_codes = {{Role::ask, 1}, {Role::answer, 2}, {Role::refusal, 3}, {Role::notice, 0}};
  roles.refusal = {item(field("reason", 8))};
  roles.refusal_code_field = "reason";
  roles.refusal_codes = {{"unknown_topic", 1}, {"bad_value", 2}};
  bus.forward.broadcast_answered = dice.one_in(6);
  if (dice.one_in(3)) bus.forward.unclaimed = Unclaimed::last_node_stops_it;
  if (dice.one_in(6)) bus.forward.least_gap_char_tenths = static_cast<std::uint32_t>(dice.between(1, 40));
  bus.forward.pass_unknown_topic = !dice.one_in(5);
  // Some old buses tell less: who answers, whether it is an answer, which exchange it belongs to.
  if (dice.one_in(3)) {
    roles.tell_role = dice.one_in(2) ? TellRole::by_position : TellRole::by_pending_ask;
    roles.role_field.clear();
    roles.role_codes.clear();
    roles.refusal_mark = MarkSpec{"role", 2, 2};
    if (dice.one_in(2)) {
      roles.source.clear();
      roles.first_unenrolled.reset();
    }
  }
  if (dice.one_in(4)) roles.exchange.clear();
  if (dice.one_in(6)) {
    roles.distance = std::move(roles.destination);
    roles.destination.clear();
    roles.broadcast.clear();
    roles.first_unenrolled.reset();
    roles.controller_address = 255;
    bus.forward.rewrite.push_back({"to", -1});
  }
  add_topics(bus);
  return bus;
}

/// Another check, by its kind or by how it stands on the wire.
void change_check(Dice& dice, BusDescription& bus) {
  CheckSpec& check = *bus.parts.back().check;
  const std::size_t before = CheckPlan::bytes_of(check);
  switch (dice.up_to(4)) {
    case 0:
      check.kind = SumKind::negated_ones_sum;
      check.bits = 16;
      break;
    case 1:
      check.kind = SumKind::fletcher;
      check.bits = 16;
      break;
    case 2:
      check.kind = SumKind::exclusive_or;
      check.bits = 8;
      break;
    default:
      break;
  }
  check.digits = dice.of<Digits>({Digits::binary, Digits::hex_text, Digits::decimal_text, Digits::bcd});
  const std::size_t after = CheckPlan::bytes_of(check);
  bus.framing.size_plus += static_cast<std::int64_t>(after) - static_cast<std::int64_t>(before);
}

/// Asks for "health" go in a frame of their own shape, without a payload.
void add_short_asks(BusDescription& bus) {
  const bool sized = bus.framing.kind == FramingKind::sized;
  if (!sized) bus.parts.insert(bus.parts.begin(), part(constant("long_lead", 8, 0x5A)));
  ShapeSpec shape;
  shape.name = "short";
  shape.parts = {part(constant("short_lead", 8, 0x59))};
  for (const PartSpec& each : bus.parts) {
    const bool own =
        each.payload ||
        (each.field && (each.field->name == "size" || each.field->name == "marker" || each.field->name == "long_lead"));
    if (!own) shape.parts.push_back(each);
  }
  bus.shapes = {shape};
  for (TopicSpec& each : bus.topics) {
    if (each.name == "health") each.ask_shape = "short";
  }
}

/// Frames as other buses have them. Draws of its own, so that all else stays as it was.
void vary_frames(std::uint64_t number, BusDescription& bus) {
  Dice dice("wild frames", number);
  if (dice.one_in(3)) change_check(dice, bus);
  const bool fixed = bus.framing.kind == FramingKind::fixed;
  if (!fixed && dice.one_in(4)) {
    for (PartSpec& each : bus.parts) {
      if (!each.payload) continue;
      each.block_bytes = static_cast<std::uint32_t>(dice.between(1, 9));
      each.block_check.emplace();
      each.block_check->name = "block";
      each.block_check->crc = {.width = 8, .poly = 0x07};
    }
  }
  if (!fixed && dice.one_in(4)) add_short_asks(bus);
  if (dice.one_in(2)) {
    for (TopicSpec& each : bus.topics) {
      if (each.name != "digits") continue;
      FieldSpec heard = quantity("heard_so_far", 64, "frames_heard");
      heard.digits = Digits::decimal_text;
      heard.up_to_digits = 9;
      FieldSpec board = quantity("board", 64, "board_temp_mc", "m°C");
      board.digits = Digits::decimal_text;
      board.up_to_digits = 6;
      board.decimals = 3;
      board.is_signed = true;
      each.answer.push_back(item(heard));
      each.answer.push_back(item(constant("comma", 8, ',')));
      each.answer.push_back(item(board));
    }
  }
}

/// Topics of some bus that change nothing, with what they have to be asked with.
PlanEntry some_entry(Dice& dice, const RandomScenario& made, std::uint16_t node) {
  const ChainDescription& chain = made.chain;
  PlanEntry entry;
  entry.node = node;
  std::uint64_t cells = node == 0xffff ? 1 : chain.kinds[chain.nodes[node].kind].cells;
  if (dice.one_in(3)) cells = 1 + dice.up_to(cells - 1);
  entry.arguments = {{"first", 0}, {"count", cells}, {"cell", 0}};
  if (made.bus.name == "small") {
    entry.topic =
        dice.of<std::string>({"readings", "readings", "health", "health", "sometimes", "all", "digits", "some"});
    if (entry.topic == "some") entry.arguments = {{"count", cells}};
  } else if (made.bus.name == "bench-frame") {
    entry.topic = dice.of<std::string>({"readings", "line_health", "nameplate", "conditions"});
  } else if (made.bus.name == "modbus-rtu") {
    entry.topic = dice.of<std::string>({"read_holding", "read_input"});
    if (dice.one_in(3)) entry.arguments = {{"first", 110}, {"count", 2}};
  } else {
    entry.topic = dice.of<std::string>({"cell", "board"});
  }
  if (dice.one_in(3)) entry.every = 1 + dice.up_to(4);
  return entry;
}

void make_plan(Dice& dice, RandomScenario& made) {
  ControllerSpec& controller = made.chain.controller;
  controller.plan.clear();
  const std::uint64_t entries = 1 + dice.up_to(2 * made.chain.nodes.size());
  for (std::uint64_t i = 0; i < entries; ++i) {
    const bool everyone = dice.one_in(10) && !made.bus.roles.broadcast.empty();
    const auto node = static_cast<std::uint16_t>(everyone ? 0xffff : dice.up_to(made.chain.nodes.size() - 1));
    controller.plan.push_back(some_entry(dice, made, node));
    controller.plan.back().name = "entry " + std::to_string(i);
  }
  controller.plan.front().every = 1;
  if (dice.one_in(4) && made.bus.name != "modbus-rtu") {
    PlanEntry bleed = controller.plan.front();
    bleed.name = "bleed";
    bleed.topic = "bleed";
    bleed.arguments = {{"cells", dice.up_to(3)}};
    bleed.every = 1 + dice.up_to(8);
    controller.plan.push_back(bleed);
  }
}

}  // namespace

RandomScenario wild_scenario(std::uint64_t number) {
  Dice dice("wild scenario", number);
  RandomScenario made = random_scenario(number);
  ChainDescription& chain = made.chain;
  chain.name = "wild " + std::to_string(number);
  if (!dice.one_in(4)) {
    made.bus = small_bus(dice);
    vary_frames(number, made.bus);
    for (KindSpec& kind : chain.kinds) {
      kind.topics.clear();
      if (dice.one_in(6)) kind.topics = {"readings", "enrol"};
      kind.enrols = dice.one_in(4) && made.bus.roles.first_unenrolled;
      if (kind.cells > 12) kind.cells = 12;
    }
  }
  chain.controller.enrol.at_start = !dice.one_in(4);
  for (KindSpec& kind : chain.kinds) {
    if (!dice.one_in(4)) kind.clock = {};
    if (!dice.one_in(4)) kind.buffer_bytes = 0;
    if (dice.one_in(4)) {
      kind.forwarding.kind = dice.one_in(2) ? Forwarding::electrical : Forwarding::by_character;
      kind.forwarding.delay = dice.between(0, 2000);
      kind.forwarding.lag_half_bits = static_cast<std::uint32_t>(2 + dice.up_to(6));
      kind.forwarding.fifo_chars = 16;
    }
    if (dice.one_in(3)) kind.answer_after = dice.between(0, 3) * kind.forwarding.after;
    if (dice.one_in(3)) {
      kind.measurement.when = MeasureWhen::free_running;
      kind.measurement.period = dice.between(1, 300) * millisecond;
    }
    if (dice.one_in(2)) kind.levels.swing_period = dice.between(1, 60) * second;
    if (dice.one_in(2)) kind.levels.swing_uv = 300'000;
    kind.start_up = dice.between(0, 30) * millisecond;
  }
  for (LinkSpec& link : chain.links) {
    if (!dice.one_in(3)) {
      const Nanos isolator_delay = link.isolator_delay;
      link = {};
      link.isolator_delay = isolator_delay;
    }
    // Parts of 1e15: from one bit in 1e9 to one in ten.
    link.bit_error = dice.one_in(3) ? 0
                                    : dice.of<Ppq>({1'000'000, 100'000'000, 1'000'000'000, 10'000'000'000,
                                                    30'000'000'000, 100'000'000'000, 300'000'000'000});
    if (dice.one_in(20)) link.bit_error = dice.one_in(2) ? certain / 10 : certain / 1000;
  }
  if (dice.one_in(2)) {
    chain.faults.clear();
  } else if (!chain.faults.empty() && dice.one_in(2)) {
    chain.faults.front().kind = dice.one_in(2) ? FaultClass::memory : FaultClass::insertion;
  }
  if (dice.one_in(4)) {
    FaultSpec reset;
    reset.name = "resets";
    reset.kind = FaultClass::reset;
    reset.at = {dice.between(0, 500) * millisecond, dice.between(500, 4000) * millisecond};
    if (dice.one_in(2)) reset.nodes = {static_cast<std::uint16_t>(dice.up_to(chain.nodes.size() - 1))};
    chain.faults.push_back(reset);
  }
  for (FaultSpec& fault : chain.faults) {
    if (fault.kind != FaultClass::reset) fault.rate = certain / static_cast<Ppq>(dice.of<int>({1, 7, 50, 300}));
    if (dice.one_in(3)) fault.to = fault.from + dice.between(0, 1000) * millisecond;
    if (fault.kind == FaultClass::insertion || dice.one_in(4)) fault.at_most = 1 + dice.up_to(5);
    if (dice.one_in(5) && made.bus.name == "small") fault.topics = {"health", "readings"};
  }

  ControllerSpec& controller = chain.controller;
  if (dice.one_in(2)) controller.gap = 0;
  if (dice.one_in(3)) controller.pace = 0;
  if (dice.one_in(4)) controller.pace = dice.between(1, 8) * 50 * millisecond;
  if (dice.one_in(2)) controller.time_out = dice.between(100, 400) * millisecond;
  if (dice.one_in(3)) controller.late_window = dice.between(1, 2000) * microsecond;
  if (dice.one_in(3)) controller.fresh_within = dice.between(1, 400) * millisecond;
  make_plan(dice, made);
  return made;
}

void sharpen(RandomScenario& scenario, std::uint64_t number, const std::vector<Nanos>& instants) {
  if (instants.empty()) return;
  Dice dice("sharpen", number);
  const auto edge = [&] { return std::max<Nanos>(0, dice.of(instants) + dice.between(-1, 1)); };
  ChainDescription& chain = scenario.chain;
  for (LinkSpec& link : chain.links) {
    if (!dice.one_in(4)) continue;
    const Nanos from = edge();
    const Nanos to = dice.one_in(2) ? from + dice.between(1, 3) : edge();
    link.opens.push_back({std::min(from, to), std::max(from, to) + 1, dice.one_in(2)});
  }
  for (FaultSpec& fault : chain.faults) {
    for (Nanos& at : fault.at) at = edge();
    if (fault.kind == FaultClass::reset || dice.one_in(3)) continue;
    fault.from = edge();
    fault.to = dice.one_in(2) ? fault.from + 1 : std::max(fault.from, edge());
  }
  if (dice.one_in(3)) chain.controller.late_window = std::max<Nanos>(1, dice.of(instants) - dice.of(instants));
  if (dice.one_in(3)) chain.controller.pace = std::max<Nanos>(0, dice.of(instants) - dice.of(instants));
  if (dice.one_in(6)) chain.controller.gap = std::max<Nanos>(0, dice.of(instants) - dice.of(instants));
  chain.controller.pace = std::min<Nanos>(chain.controller.pace, second);
  chain.controller.gap = std::min<Nanos>(chain.controller.gap, second);
}

}  // namespace hopbench
