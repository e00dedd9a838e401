// Every fault of a description is found, at the part that is wrong, with a sentence.
#include <functional>

#include "bus/protocol.h"
#include "support/buses.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

using Change = std::function<void(BusDescription&)>;

std::string shown(const std::vector<Protocol::Fault>& faults) {
  std::string all;
  for (const auto& fault : faults) all += fault.part + ": " + fault.what + "\n";
  return all;
}

struct Case {
  const char* part;  // where the fault must be reported
  const char* word;  // must occur in the sentence
  Change change;
};

void check_all(const BusDescription& sound, const std::vector<Case>& cases) {
  REQUIRE(shown(Protocol::faults_of(sound)).empty());
  for (const Case& each : cases) {
    BusDescription bus = sound;
    each.change(bus);
    const auto faults = Protocol::faults_of(bus);
    INFO(each.part << " / " << each.word << " among\n" << shown(faults));
    bool found = false;
    for (const auto& fault : faults)
      found = found || (fault.part == each.part && fault.what.find(each.word) != std::string::npos);
    CHECK(found);
  }
}

PartSpec& part(BusDescription& bus, std::string_view name) {
  for (PartSpec& each : bus.parts) {
    if ((each.field && each.field->name == name) || (each.check && each.check->name == name)) return each;
  }
  throw std::logic_error("no such part");
}

}  // namespace

TEST_CASE("the three shared descriptions have no faults") {
  CHECK(shown(Protocol::faults_of(buses::bench_frame())).empty());
  CHECK(shown(Protocol::faults_of(buses::modbus_rtu())).empty());
  CHECK(shown(Protocol::faults_of(buses::old_style())).empty());
}

TEST_CASE("an empty description is all faults and no crash") {
  CHECK(Protocol::faults_of(BusDescription{}).size() > 3);
}

TEST_CASE("faults of line coding and names") {
  check_all(buses::bench_frame(),
            {
                {"name", "no name", [](BusDescription& b) { b.name = ""; }},
                {"line.baud", "baud", [](BusDescription& b) { b.line.baud = 0; }},
                {"line.data_bits", "5 to 8", [](BusDescription& b) { b.line.data_bits = 9; }},
                {"line.stop_half_bits", "half bits", [](BusDescription& b) { b.line.stop_half_bits = 1; }},
            });
}

TEST_CASE("faults of parts") {
  check_all(
      buses::bench_frame(),
      {
          {"parts", "no part is the payload", [](BusDescription& b) { b.parts.erase(b.parts.begin() + 10); }},
          {"parts", "more than one", [](BusDescription& b) { b.parts.push_back(buses::payload_part()); }},
          {"parts", "header fields",
           [](BusDescription& b) {
             for (int i = 0; i < 20; ++i) b.parts.push_back(buses::part(buses::field("x" + std::to_string(i), 8)));
           }},
          {"parts[3].field.bits", "whole bytes", [](BusDescription& b) { part(b, "role").field->bits = 4; }},
          {"parts[3].field.bits", "1 to 64", [](BusDescription& b) { part(b, "role").field->bits = 65; }},
          {"parts[4].field.bits", "1 to 64", [](BusDescription& b) { part(b, "to").field->bits = 0; }},
          {"parts[4]", "taken",
           [](BusDescription& b) {
             part(b, "to").field->name = "from";
             b.parts[5].field->name = "to";
             b.parts[4].field->name = "role";
           }},
          {"parts[4]", "taken", [](BusDescription& b) { part(b, "to").field->name = "payload"; }},
          {"parts[4]", "one of", [](BusDescription& b) { b.parts[4].payload = true; }},
          {"parts[0].field.constant", "does not fit",
           [](BusDescription& b) { part(b, "marker").field->constant = 256; }},
          {"parts[4].field.present_if", "always there",
           [](BusDescription& b) { part(b, "to").field->present_if = "role"; }},
          {"parts[4].field.quantity", "no quantities",
           [](BusDescription& b) { part(b, "to").field->quantity = "cell_mv"; }},
          {"parts[3].field.little_endian", "whole bytes",
           [](BusDescription& b) { part(b, "role").field->little_endian = true; }},
          {"parts[4].field.bits", "multiple of 8",
           [](BusDescription& b) {
             part(b, "to").field->digits = Digits::hex_text;
             part(b, "to").field->bits = 12;
           }},
          {"parts[4].field.is_signed", "no sign",
           [](BusDescription& b) {
             part(b, "to").field->digits = Digits::bcd;
             part(b, "to").field->is_signed = true;
           }},
          {"parts[4].field.scale.den", "divide by 0", [](BusDescription& b) { part(b, "to").field->scale.den = 0; }},
          {"parts[4].field.sent_only", "constant", [](BusDescription& b) { part(b, "to").field->sent_only = true; }},
      });
}

TEST_CASE("faults of checks") {
  check_all(
      buses::bench_frame(),
      {
          {"parts[11].check.crc.width", "1 to 64", [](BusDescription& b) { part(b, "check").check->crc.width = 0; }},
          {"parts[11].check.crc.width", "1 to 64", [](BusDescription& b) { part(b, "check").check->crc.width = 65; }},
          {"parts[11].check.crc.poly", "wider", [](BusDescription& b) { part(b, "check").check->crc.poly = 0x13D65; }},
          {"parts[11].check.crc.poly", "+1", [](BusDescription& b) { part(b, "check").check->crc.poly = 0x3D64; }},
          {"parts[11].check.crc.init", "wider", [](BusDescription& b) { part(b, "check").check->crc.init = 0x10000; }},
          {"parts[11].check.bits", "8, 16, 32 or 64",
           [](BusDescription& b) {
             part(b, "check").check->kind = SumKind::sum;
             part(b, "check").check->bits = 12;
           }},
          {"parts[11].check.bits", "8 bits",
           [](BusDescription& b) {
             part(b, "check").check->kind = SumKind::exclusive_or;
             part(b, "check").check->bits = 16;
           }},
          {"parts[11].check.covers[0]", "no part is called \"nowhere\"",
           [](BusDescription& b) { part(b, "check").check->covers[0] = "nowhere"; }},
          {"parts[11].check.covers[0]", "itself",
           [](BusDescription& b) { part(b, "check").check->covers[0] = "check"; }},
          {"parts[7].check.covers[0]", "later",
           [](BusDescription& b) { part(b, "header_check").check->covers[0] = "check"; }},
          {"parts[11].check.covers[1]", "wire order",
           [](BusDescription& b) { std::swap(part(b, "check").check->covers[0], part(b, "check").check->covers[1]); }},
          {"parts[11].check.covers[1]", "twice",
           [](BusDescription& b) { part(b, "check").check->covers[1] = "marker"; }},
          {"parts[7].check.covers", "whole bytes",
           [](BusDescription& b) {
             part(b, "header_check").check->covers = {"passes_left", "revision"};
           }},
          {"parts[11].check.over_text", "hex_text",
           [](BusDescription& b) { part(b, "check").check->over_text = true; }},
      });
}

TEST_CASE("faults of framing") {
  check_all(
      buses::bench_frame(),
      {
          {"parts[0]", "marker", [](BusDescription& b) { part(b, "marker").field->constant.reset(); }},
          {"parts[0]", "marker", [](BusDescription& b) { part(b, "marker").field->sent_only = true; }},
          {"roles.size", "name it", [](BusDescription& b) { b.roles.size = ""; }},
          {"framing.header_check", "no check is called", [](BusDescription& b) { b.framing.header_check = "other"; }},
          {"framing.header_check", "before the payload", [](BusDescription& b) { b.framing.header_check = "check"; }},
          {"framing.header_check", "before it",
           [](BusDescription& b) { part(b, "header_check").check->covers.push_back("exchange"); }},
          {"framing.size_again", "no header field", [](BusDescription& b) { b.framing.size_again = "other"; }},
          {"framing.size_again", "own repetition", [](BusDescription& b) { b.framing.size_again = "size"; }},
          {"framing.size_unit", "units", [](BusDescription& b) { b.framing.size_unit = 0; }},
          {"framing.size_plus", "at most", [](BusDescription& b) { b.framing.size_plus = 1'000'000; }},
          {"framing.max_bytes", "at most 1024", [](BusDescription& b) { b.framing.max_bytes = 1025; }},
          {"framing.max_bytes", "no frame fits", [](BusDescription& b) { b.framing.max_bytes = 11; }},
          {"framing.fixed_bytes", "only fixed", [](BusDescription& b) { b.framing.fixed_bytes = 8; }},
          {"framing.hex_text", "only marked", [](BusDescription& b) { b.framing.hex_text = true; }},
          {"framing.leading_boundary", "only cobs", [](BusDescription& b) { b.framing.leading_boundary = true; }},
          {"framing.silence_char_tenths", "only silence",
           [](BusDescription& b) { b.framing.silence_char_tenths = 35; }},
          {"framing", "marker", [](BusDescription& b) { b.framing.kind = FramingKind::marked; }},
          {"framing.start", "digits",
           [](BusDescription& b) {
             b.framing.kind = FramingKind::marked;
             b.framing.hex_text = true;
             b.framing.start = {'A'};
           }},
          {"framing.end", "same",
           [](BusDescription& b) {
             b.framing.kind = FramingKind::marked;
             b.framing.start = {1};
             b.framing.end = {1};
           }},
          {"framing.abandon_char_tenths", "silence",
           [](BusDescription& b) {
             b.framing.kind = FramingKind::marked;
             b.framing.start = {1};
             b.framing.abandon_char_tenths = 0;
           }},
      });
  check_all(
      buses::modbus_rtu(),
      {
          {"framing.silence_char_tenths", "needs a pause",
           [](BusDescription& b) {
             b.framing.silence_char_tenths = 0;
             b.framing.silence_least_us = 0;
             b.framing.silence_fixed_above_baud = 0;
           }},
          {"framing.silence_least_us", "fixed pause", [](BusDescription& b) { b.framing.silence_least_us = 0; }},
          {"framing.abandon_char_tenths", "own pause", [](BusDescription& b) { b.framing.abandon_char_tenths = 30; }},
      });
  check_all(
      buses::old_style(),
      {
          {"framing.fixed_bytes", "1 to 1024", [](BusDescription& b) { b.framing.fixed_bytes = 0; }},
          {"framing.fixed_bytes", "alone take", [](BusDescription& b) { b.framing.fixed_bytes = 2; }},
          {"framing.abandon_char_tenths", "in step", [](BusDescription& b) { b.framing.abandon_char_tenths = 0; }},
          {"topics[0].answer", "too long",
           [](BusDescription& b) { b.topics[0].answer.push_back(buses::item(buses::field("much", 64))); }},
      });
}

TEST_CASE("faults of roles") {
  check_all(
      buses::bench_frame(),
      {
          {"roles.destination", "no header field is called \"nobody\"",
           [](BusDescription& b) { b.roles.destination = "nobody"; }},
          {"roles.source", "two roles", [](BusDescription& b) { b.roles.source = "to"; }},
          {"roles.topic", "constant", [](BusDescription& b) { b.roles.topic = "marker"; }},
          {"roles.distance", "not both", [](BusDescription& b) { b.roles.distance = "exchange"; }},
          {"roles.broadcast[0]", "does not fit", [](BusDescription& b) { b.roles.broadcast = {256}; }},
          {"roles.first_unenrolled", "broadcast", [](BusDescription& b) { b.roles.first_unenrolled = 255; }},
          {"roles.first_unenrolled", "controller", [](BusDescription& b) { b.roles.first_unenrolled = 0; }},
          {"roles.controller_address", "broadcast", [](BusDescription& b) { b.roles.controller_address = 255; }},
          {"roles.role_field", "name it", [](BusDescription& b) { b.roles.role_field = ""; }},
          {"roles.role_field", "only with", [](BusDescription& b) { b.roles.tell_role = TellRole::by_position; }},
          {"roles.role_codes", "ask and answer", [](BusDescription& b) { b.roles.role_codes.resize(1); }},
          {"roles.role_codes[1]", "another role", [](BusDescription& b) { b.roles.role_codes[1].second = 1; }},
          {"roles.role_codes[3]", "does not fit", [](BusDescription& b) { b.roles.role_codes[3].second = 32; }},
          {"roles.refusal_code_field", "no field", [](BusDescription& b) { b.roles.refusal_code_field = "none"; }},
          {"roles.refusal_codes[0]", "no reason", [](BusDescription& b) { b.roles.refusal_codes[0].first = "tired"; }},
          {"roles.refusal_codes[0]", "does not fit", [](BusDescription& b) { b.roles.refusal_codes[0].second = 256; }},
          {"roles.refusal[1].group", "plain fields",
           [](BusDescription& b) {
             b.roles.refusal.push_back(buses::item(GroupSpec{"g", 1, "", false, {buses::field("x", 8)}}));
           }},
          {"roles.topic", "several topics", [](BusDescription& b) { b.roles.topic = ""; }},
      });
  check_all(buses::modbus_rtu(),
            {
                {"roles.refusal_mark.field", "no header field",
                 [](BusDescription& b) { b.roles.refusal_mark->field = "other"; }},
                {"roles.refusal_mark.mask", "marks every frame",
                 [](BusDescription& b) {
                   b.roles.refusal_mark->mask = 0;
                   b.roles.refusal_mark->value = 0;
                 }},
                {"roles.refusal_mark.value", "outside the mask",
                 [](BusDescription& b) { b.roles.refusal_mark->value = 0xC0; }},
                {"topics[0].code", "refusal mark", [](BusDescription& b) { b.topics[0].code = 0x83; }},
            });
}

TEST_CASE("faults of forwarding") {
  check_all(buses::bench_frame(),
            {
                {"forward.rewrite[0].field", "no header field",
                 [](BusDescription& b) { b.forward.rewrite[0].field = "other"; }},
                {"forward.rewrite[0].add", "changes nothing", [](BusDescription& b) { b.forward.rewrite[0].add = 0; }},
                {"forward.rewrite[0].add", "counted down", [](BusDescription& b) { b.forward.rewrite[0].add = 1; }},
                {"forward.rewrite[1].field", "constant",
                 [](BusDescription& b) {
                   b.forward.rewrite.push_back({"marker", 1});
                 }},
                {"forward.rewrite[1].field", "size",
                 [](BusDescription& b) {
                   b.forward.rewrite.push_back({"size", 1});
                 }},
                {"forward.rewrite[1].field", "twice",
                 [](BusDescription& b) {
                   b.forward.rewrite.push_back({"passes_left", -1});
                 }},
                {"forward.rewrite", "never taken down", [](BusDescription& b) { b.forward.rewrite.clear(); }},
                {"forward.repair", "every forwarded frame would be bad",
                 [](BusDescription& b) { b.forward.repair = CheckRepair::untouched; }},
            });
}

TEST_CASE("faults of topics and registers") {
  check_all(buses::bench_frame(),
            {
                {"topics", "at least one topic", [](BusDescription& b) { b.topics.clear(); }},
                {"topics[1].code", "another topic", [](BusDescription& b) { b.topics[1].code = 1; }},
                {"topics[1].code", "does not fit", [](BusDescription& b) { b.topics[1].code = 256; }},
                {"topics[1].name", "two topics", [](BusDescription& b) { b.topics[1].name = "nameplate"; }},
                {"topics[1].answer[0].field.copied_from_ask", "no field of the ask",
                 [](BusDescription& b) { b.topics[1].answer[0].field->copied_from_ask = "other"; }},
                {"topics[1].ask[0].field.copied_from_ask", "nothing to copy",
                 [](BusDescription& b) { b.topics[1].ask[0].field->copied_from_ask = "count"; }},
                {"topics[1].answer[3].group.count_field", "no earlier field",
                 [](BusDescription& b) { b.topics[1].answer[3].group->count_field = "other"; }},
                {"topics[1].answer[3].group", "exactly one",
                 [](BusDescription& b) { b.topics[1].answer[3].group->times = 3; }},
                {"topics[1].answer[3].group", "exactly one",
                 [](BusDescription& b) { b.topics[1].answer[3].group->count_field = ""; }},
                {"topics[1].answer[3].group.to_end", "last item",
                 [](BusDescription& b) {
                   auto& answer = b.topics[1].answer;
                   answer[3].group->count_field = "";
                   answer[3].group->to_end = true;
                   answer.push_back(buses::item(buses::field("more", 8)));
                 }},
                {"topics[1].answer[3].group.fields", "no fields",
                 [](BusDescription& b) { b.topics[1].answer[3].group->fields.clear(); }},
                {"topics[1].answer[3].group.fields", "whole bytes",
                 [](BusDescription& b) { b.topics[1].answer[3].group->fields[0].bits = 12; }},
                {"topics[1].answer[2].field.present_if", "no earlier field",
                 [](BusDescription& b) { b.topics[1].answer[2].field->present_if = "other"; }},
                {"topics[1].ask[1].field.present_if", "start on a byte",
                 [](BusDescription& b) {
                   b.topics[1].ask[1].field->present_if = "first";
                   b.topics[1].ask[1].field->bits = 4;
                 }},
                {"topics[1].ask", "whole bytes", [](BusDescription& b) { b.topics[1].ask[1].field->bits = 4; }},
                {"topics[1].first_field", "no field of the ask",
                 [](BusDescription& b) { b.topics[1].first_field = "other"; }},
                {"topics[1].values_group", "no group", [](BusDescription& b) { b.topics[1].values_group = "other"; }},
                {"topics[1].values_group", "name it", [](BusDescription& b) { b.topics[1].values_group = ""; }},
                {"topics[0].answer[0].field", "choose one",
                 [](BusDescription& b) { b.topics[0].answer[0].field->constant = 1; }},
                {"topics[0].answer[1]", "taken in this layout",
                 [](BusDescription& b) { b.topics[0].answer[1].field->name = "serial"; }},
                {"topics[0].answer[0]", "either a field or a group",
                 [](BusDescription& b) { b.topics[0].answer[0].field.reset(); }},
            });
  check_all(buses::modbus_rtu(),
            {
                {"registers[1].first", "overlap", [](BusDescription& b) { b.registers[1].first = 15; }},
                {"registers[1].count", "at least one", [](BusDescription& b) { b.registers[1].count = 0; }},
                {"registers[1].quantity", "name a quantity", [](BusDescription& b) { b.registers[1].quantity = ""; }},
                {"registers[1].scale.den", "divide by 0", [](BusDescription& b) { b.registers[1].scale.den = 0; }},
                {"registers", "none are described", [](BusDescription& b) { b.registers.clear(); }},
                {"topics[0].first_field", "by number", [](BusDescription& b) { b.topics[0].first_field = ""; }},
            });
}

namespace {

/// A long frame and a single character, a payload in blocks.
BusDescription two_shapes() {
  BusDescription bus = buses::bench_frame();
  bus.framing.header_check.clear();
  bus.forward.rewrite.clear();
  bus.roles.passes_left.clear();
  bus.forward.repair = CheckRepair::untouched;
  ShapeSpec single;
  single.name = "single";
  single.role = Role::answer;
  single.parts = {buses::part(buses::constant("done", 8, 0xE5))};
  bus.shapes = {single};
  for (PartSpec& each : bus.parts) {
    if (!each.payload) continue;
    each.block_bytes = 16;
    each.block_check.emplace();
    each.block_check->name = "block";
    each.block_check->crc.poly = 0x3D65;
  }
  return bus;
}

PartSpec& payload_of(BusDescription& bus) {
  for (PartSpec& each : bus.parts) {
    if (each.payload) return each;
  }
  throw std::logic_error("no payload");
}

}  // namespace

TEST_CASE("faults of shapes") {
  check_all(
      two_shapes(),
      {
          {"shapes[0].parts[0].field.constant", "another shape begins",
           [](BusDescription& b) { b.shapes[0].parts[0].field->constant = 0xB5; }},
          {"shapes[0].parts[0]", "told apart", [](BusDescription& b) { b.shapes[0].parts[0].field->sent_only = true; }},
          {"shapes[0].name", "no name", [](BusDescription& b) { b.shapes[0].name.clear(); }},
          {"shapes[0]", "no parts", [](BusDescription& b) { b.shapes[0].parts.clear(); }},
          {"shapes[0]", "what they are", [](BusDescription& b) { b.shapes[0].role.reset(); }},
          {"shapes[0].role", "find its node", [](BusDescription& b) { b.shapes[0].role = Role::ask; }},
          {"framing.abandon_char_tenths", "no check", [](BusDescription& b) { b.framing.abandon_char_tenths = 0; }},
          {"shapes[0].parts[1].field", "not like this one",
           [](BusDescription& b) { b.shapes[0].parts.push_back(buses::part(buses::field("to", 16))); }},
          {"topics[0].answer_shape", "no shape is called",
           [](BusDescription& b) { b.topics[0].answer_shape = "sinlge"; }},
          {"topics[0].answer", "no payload", [](BusDescription& b) { b.topics[0].answer_shape = "single"; }},
          {"topics[0].ask_shape", "must name its topic", [](BusDescription& b) { b.topics[0].ask_shape = "single"; }},
          {"topics[1].answer_code", "mean another topic",
           [](BusDescription& b) { b.topics[1].answer_code = b.topics[0].code; }},
      });
}

TEST_CASE("faults of blocks, of digits, and of numbers as long as they are") {
  check_all(two_shapes(),
            {
                {"parts[10].payload.block_bytes", "set block_bytes",
                 [](BusDescription& b) { payload_of(b).block_bytes = 0; }},
                {"parts[10].payload.block_check", "describe it",
                 [](BusDescription& b) { payload_of(b).block_check.reset(); }},
                {"parts[10].payload.block_check.covers", "nothing else",
                 [](BusDescription& b) { payload_of(b).block_check->covers = {"to"}; }},
                {"parts[10].payload.block_bytes", "size_unit", [](BusDescription& b) { b.framing.size_unit = 2; }},
                {"parts[11].check.digits", "at most 26",
                 [](BusDescription& b) {
                   part(b, "check").check->crc.width = 32;
                   part(b, "check").check->digits = Digits::decimal_text;
                 }},
                {"parts[11].check.little_endian", "one order",
                 [](BusDescription& b) {
                   part(b, "check").check->digits = Digits::bcd;
                   part(b, "check").check->little_endian = true;
                 }},
                {"parts[11].check.bits", "16 or 32",
                 [](BusDescription& b) { part(b, "check").check->kind = SumKind::fletcher; }},
                {"parts[5].field.up_to_digits", "fixed width",
                 [](BusDescription& b) {
                   part(b, "from").field->digits = Digits::decimal_text;
                   part(b, "from").field->up_to_digits = 3;
                 }},
                {"topics[0].answer[0].field.up_to_digits", "a constant between",
                 [](BusDescription& b) {
                   FieldSpec& first = *b.topics[0].answer[0].field;
                   first.bits = 64;
                   first.digits = Digits::decimal_text;
                   first.up_to_digits = 5;
                 }},
                {"topics[0].answer[0].field.decimals", "before the point",
                 [](BusDescription& b) {
                   FieldSpec& first = *b.topics[0].answer[0].field;
                   first.bits = 64;
                   first.digits = Digits::decimal_text;
                   first.up_to_digits = 3;
                   first.decimals = 3;
                 }},
            });
}
