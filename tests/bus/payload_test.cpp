// Payload layouts: widths, orders, digits, conditions, groups, scales; what fills them and what does not fit.
#include "bus/scale.h"
#include "bus_test_tools.h"
#include "support/buses.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::testing;
using buses::field;
using buses::item;

namespace {

/// A small bus whose only topic has this answer and this ask.
BusDescription bus_with(Layout answer, Layout ask = {}) {
  BusDescription bus;
  bus.name = "small";
  bus.framing.kind = FramingKind::silence;
  bus.framing.silence_char_tenths = 20;
  CheckSpec sum;
  sum.name = "sum";
  sum.kind = SumKind::sum;
  bus.parts = {buses::part(field("kind", 8)), buses::payload_part(), buses::part(sum)};
  bus.roles.tell_role = TellRole::by_field;
  bus.roles.role_field = "kind";
  bus.roles.role_codes = {{Role::ask, 1}, {Role::answer, 2}};
  TopicSpec topic;
  topic.name = "only";
  topic.ask = std::move(ask);
  topic.answer = std::move(answer);
  bus.topics = {topic};
  return bus;
}

FieldSpec with(FieldSpec spec, auto change) {
  change(spec);
  return spec;
}

std::string faults_shown(const BusDescription& bus) {
  std::string all;
  for (const auto& fault : Protocol::faults_of(bus)) all += fault.part + ": " + fault.what + "\n";
  return all;
}

struct Filled {
  std::optional<Refusal> refusal;
  Bytes bytes;
  std::vector<PayloadValue> values;
  bool reads = false;
};

Filled fill(const BusDescription& bus, Source source, const Bytes& asked = {}) {
  REQUIRE(faults_shown(bus).empty());
  const Protocol protocol(bus);
  Frame frame = protocol.answer_to(protocol.ask(0, 0, 0, 0), 1, 0);
  Filled filled;
  filled.refusal = protocol.fill(frame, Protocol::Side::answer, asked, source);
  filled.bytes = {frame.payload.view().begin(), frame.payload.view().end()};
  filled.reads = protocol.read(frame, Protocol::Side::answer, filled.values);
  return filled;
}

bool reads(const BusDescription& bus, const Bytes& payload) {
  const Protocol protocol(bus);
  Frame frame = protocol.answer_to(protocol.ask(0, 0, 0, 0), 1, 0);
  frame.payload.assign(payload);
  std::vector<PayloadValue> values;
  return protocol.read(frame, Protocol::Side::answer, values);
}

}  // namespace

TEST_CASE("fields of a few bits share bytes, top bit first") {
  Source source;
  source.arguments = {{"a", {5}}, {"b", {0x1A}}, {"c", {0xABC}}, {"d", {1}}};
  const auto filled =
      fill(bus_with({item(field("a", 3)), item(field("b", 5)), item(field("c", 12)), item(field("d", 4))}), source);
  CHECK(filled.bytes == hex("BA AB C1"));
  REQUIRE(filled.reads);
  CHECK(filled.values[2].raw == 0xABC);
}

TEST_CASE("both byte orders") {
  Source source;
  source.arguments = {{"big", {0x010203}}, {"little", {0x010203}}, {"all", {0x1122334455667788}}};
  const auto filled = fill(
      bus_with({item(field("big", 24)), item(with(field("little", 24), [](FieldSpec& f) { f.little_endian = true; })),
                item(field("all", 64))}),
      source);
  CHECK(filled.bytes == hex("01 02 03 03 02 01 11 22 33 44 55 66 77 88"));
  CHECK(filled.values[1].raw == 0x010203);
  CHECK(filled.values[2].raw == 0x1122334455667788);
}

TEST_CASE("digits in BCD, decimal text and hexadecimal text") {
  const Layout layout{item(with(field("bcd", 12), [](FieldSpec& f) { f.digits = Digits::bcd; })),
                      item(field("nibble", 4)),
                      item(with(field("text", 32), [](FieldSpec& f) { f.digits = Digits::decimal_text; })),
                      item(with(field("hex", 24), [](FieldSpec& f) { f.digits = Digits::hex_text; }))};
  Source source;
  source.arguments = {{"bcd", {907}}, {"nibble", {0xF}}, {"text", {42}}, {"hex", {0xA0F}}};
  const auto filled = fill(bus_with(layout), source);
  CHECK(filled.bytes == hex("90 7F 30 30 34 32 41 30 46"));
  CHECK(filled.values[0].raw == 907);
  CHECK(filled.values[2].raw == 42);
  CHECK(filled.values[3].raw == 0xA0F);
  CHECK_FALSE(reads(bus_with(layout), hex("9A 7F 30 30 34 32 41 30 46")));  // no decimal digit
  CHECK_FALSE(reads(bus_with(layout), hex("90 7F 30 3A 34 32 41 30 46")));
  CHECK_FALSE(reads(bus_with(layout), hex("90 7F 30 30 34 32 61 30 46")));  // lower case is never sent
  source.arguments[0] = {"bcd", {1000}};
  CHECK(fill(bus_with(layout), source).refusal == Refusal::bad_value);
}

TEST_CASE("values are scaled by fractions, rounded to the nearest and saturated") {
  const Scale tenth{1, 10, 0};
  CHECK(value_of_raw(tenth, 14, 8, false) == 1);
  CHECK(value_of_raw(tenth, 15, 8, false) == 2);
  CHECK(value_of_raw(tenth, 0xF1, 8, true) == -2);  // -15 / 10: halves go away from zero
  CHECK(value_of_raw({1, 1, -40}, 0, 8, false) == -40);
  CHECK(raw_of_value({100, 1, 0}, -12'340, 16, true, 0xFFFF) == 0xFF85);
  CHECK(raw_of_value({1, 1, 0}, 300, 8, false, 255) == 255);
  CHECK(raw_of_value({1, 1, 0}, -1, 8, false, 255) == 0);
  CHECK(raw_of_value({1, 1, 0}, -200, 8, true, 255) == 0x80);
  CHECK(raw_of_value({1, 1, 0}, 200, 8, true, 255) == 0x7F);
  CHECK(value_of_raw({1, 1, 0}, ~std::uint64_t{0}, 64, false) == std::numeric_limits<std::int64_t>::max());
  CHECK(value_of_raw({std::numeric_limits<std::int64_t>::max(), 1, 0}, ~std::uint64_t{0}, 64, false) ==
        std::numeric_limits<std::int64_t>::max());
  CHECK(raw_of_value({-2, 1, 0}, 10, 8, true, 255) == 0xFB);  // -5
}

TEST_CASE("a conditional field is there only when its condition holds") {
  const Layout layout{item(field("kind", 8)),
                      item(with(field("extra", 16),
                                [](FieldSpec& f) {
                                  f.present_if = "kind";
                                  f.present_value = 2;
                                })),
                      item(with(field("more", 8), [](FieldSpec& f) {
                        f.present_if = "extra";
                        f.present_value = 7;
                      }))};
  Source source;
  source.arguments = {{"kind", {1}}, {"extra", {7}}, {"more", {9}}};
  CHECK(fill(bus_with(layout), source).bytes == hex("01"));
  source.arguments[0] = {"kind", {2}};
  CHECK(fill(bus_with(layout), source).bytes == hex("02 00 07 09"));
  source.arguments[1] = {"extra", {8}};
  CHECK(fill(bus_with(layout), source).bytes == hex("02 00 08"));
  CHECK(reads(bus_with(layout), hex("02 00 08")));
  CHECK_FALSE(reads(bus_with(layout), hex("02 00 07")));
  CHECK_FALSE(reads(bus_with(layout), hex("01 00")));
}

TEST_CASE("a condition inside a group is judged repetition by repetition") {
  GroupSpec group;
  group.name = "entries";
  group.times = 3;
  group.fields = {field("kind", 8), with(field("extra", 8), [](FieldSpec& f) {
                    f.present_if = "kind";
                    f.present_value = 1;
                  })};
  Source source;
  source.arguments = {{"kind", {0, 1, 0}}, {"extra", {0xEE}}};
  const auto filled = fill(bus_with({item(group)}), source);
  CHECK(filled.bytes == hex("00 01 EE 00"));
  REQUIRE(filled.values.size() == 4);
  CHECK(filled.values[2].repetition == 1);
}

TEST_CASE("groups repeat a fixed number of times, as counted, or to the end") {
  GroupSpec fixed;
  fixed.name = "fixed";
  fixed.times = 2;
  fixed.fields = {field("x", 8)};
  GroupSpec counted;
  counted.name = "counted";
  counted.count_field = "n";
  counted.fields = {field("y", 8), field("z", 8)};
  GroupSpec rest;
  rest.name = "rest";
  rest.to_end = true;
  rest.fields = {field("w", 16)};
  const BusDescription bus = bus_with({item(fixed), item(field("n", 8)), item(counted), item(rest)});
  Source source;
  source.arguments = {{"x", {1, 2}}, {"n", {3}},    {"y", {10, 11, 12}},
                      {"z", {20}},   {"rest", {2}}, {"w", {0x0A0B, 0x0C0D}}};
  const auto filled = fill(bus, source);
  CHECK(filled.bytes == hex("01 02 03 0A 14 0B 14 0C 14 0A 0B 0C 0D"));
  CHECK(filled.reads);
  CHECK_FALSE(reads(bus, hex("01 02 03 0A 14 0B 14 0C")));  // the count says more
  CHECK_FALSE(reads(bus, hex("01 02 00 0A 0B 0C")));        // half a repetition at the end
  CHECK(reads(bus, hex("01 02 00")));
}

TEST_CASE("quantities fill answers, each repetition its own index, and what a station lacks is refused") {
  GroupSpec cells;
  cells.name = "cells";
  cells.count_field = "n";
  cells.fields = {buses::quantity("mv", 16, "cell_mv")};
  const BusDescription bus =
      bus_with({item(buses::quantity("n", 8, "cell_count")), item(cells), item(buses::constant("end", 8, 0xEE))});
  Source source;
  source.quantities = {{"cell_count", {2}}, {"cell_mv", {3300, 3400}}};
  CHECK(fill(bus, source).bytes == hex("02 0C E4 0D 48 EE"));
  source.quantities[0].second = {3};
  CHECK(fill(bus, source).refusal == Refusal::unknown_topic);
  source.quantities = {};
  CHECK(fill(bus, source).refusal == Refusal::bad_value);
}

TEST_CASE("an answer's group to the end that nothing measures tells of every cell, or of all that was asked") {
  GroupSpec cells;
  cells.name = "cells";
  cells.to_end = true;
  cells.fields = {buses::quantity("mv", 16, "cell_mv")};
  Source source;
  source.quantities = {{"cell_count", {3}}, {"cell_mv", {3300, 3400, 3500}}};
  CHECK(fill(bus_with({item(cells)}), source).bytes == hex("0C E4 0D 48 0D AC"));

  GroupSpec asked;
  asked.name = "values";
  asked.to_end = true;
  asked.fields = {field("value", 16)};
  GroupSpec echo = asked;
  echo.name = "echo";
  echo.fields = {buses::copied("back", 16, "value")};
  CHECK(fill(bus_with({item(echo)}, {item(asked)}), source, hex("11 22 33 44")).bytes == hex("11 22 33 44"));
  CHECK(fill(bus_with({item(echo)}, {item(asked)}), source, {}).bytes.empty());
}

TEST_CASE("what is copied from the ask is its raw value, in groups repetition by repetition") {
  GroupSpec group;
  group.name = "echo";
  group.count_field = "n";
  group.fields = {buses::copied("back", 16, "value")};
  GroupSpec asked_group;
  asked_group.name = "values";
  asked_group.count_field = "count";
  asked_group.fields = {field("value", 16)};
  const BusDescription bus =
      bus_with({item(buses::copied("n", 8, "count")), item(group)}, {item(field("count", 8)), item(asked_group)});
  CHECK(fill(bus, {}, hex("02 11 22 33 44")).bytes == hex("02 11 22 33 44"));
  CHECK(fill(bus, {}, hex("02 11 22")).refusal == Refusal::bad_value);
  CHECK(fill(bus, {}, {}).refusal == Refusal::bad_value);
}

TEST_CASE("an answer that does not fit into a frame is refused") {
  GroupSpec rest;
  rest.name = "rest";
  rest.to_end = true;
  rest.fields = {field("w", 32)};
  BusDescription bus = bus_with({item(rest)});
  bus.framing.max_bytes = 2 + 16;
  Source source;
  source.arguments = {{"rest", {4}}, {"w", {1}}};
  CHECK(fill(bus, source).bytes.size() == 16);
  source.arguments[0].second = {5};
  CHECK(fill(bus, source).refusal == Refusal::too_long);
  source.arguments[0].second = {~std::uint64_t{0}};
  CHECK(fill(bus, source).refusal == Refusal::too_long);
}

TEST_CASE("readings out of range are refused by address or by value") {
  const Protocol protocol(buses::bench_frame());
  Source node;
  node.quantities = {{"cell_mv", {1, 2, 3, 4}}, {"snapshot_age_ms", {0}}};
  const auto refusal = [&](std::uint64_t first, std::uint64_t count) {
    Source plan;
    plan.arguments = {{"first", {first}}, {"count", {count}}};
    Frame ask = protocol.ask(*protocol.topic_named("readings"), 3, 1, 9);
    REQUIRE_FALSE(protocol.fill(ask, Protocol::Side::ask, {}, plan));
    Frame answer = protocol.answer_to(ask, 3, 9);
    return protocol.fill(answer, Protocol::Side::answer, ask.payload.view(), node);
  };
  CHECK_FALSE(refusal(0, 4));
  CHECK_FALSE(refusal(3, 1));
  CHECK(refusal(4, 1) == Refusal::bad_address);
  CHECK(refusal(2, 3) == Refusal::bad_address);
  CHECK(refusal(0, 0) == Refusal::bad_value);
  // More than a frame holds comes before cells that are not there, as the standard's order of checks has it (MODBUS
  // Application Protocol V1.1b3, figure 13: quantity first, then addresses).
  CHECK(refusal(0, 200) == Refusal::too_long);
}

TEST_CASE("an ask without its arguments, or with one too large, is not made") {
  const Protocol protocol(buses::bench_frame());
  Source plan;
  Frame ask = protocol.ask(*protocol.topic_named("readings"), 3, 1, 9);
  CHECK(protocol.fill(ask, Protocol::Side::ask, {}, plan) == Refusal::bad_value);
  plan.arguments = {{"first", {256}}, {"count", {1}}};
  CHECK(protocol.fill(ask, Protocol::Side::ask, {}, plan) == Refusal::bad_value);
}

TEST_CASE("a topic that changes things writes the quantities that its ask names") {
  struct : Protocol::RegisterWriter {
    std::vector<std::pair<std::string, std::int64_t>> made;
    void write(std::string_view quantity, std::uint32_t, std::int64_t value) override {
      made.emplace_back(quantity, value);
    }
  } writer;
  const Protocol protocol(buses::bench_frame());
  Source plan;
  plan.arguments = {{"low", {2800}}, {"high", {3650}}};
  Frame ask = protocol.ask(*protocol.topic_named("limits"), 3, 1, 9);
  REQUIRE_FALSE(protocol.fill(ask, Protocol::Side::ask, {}, plan));
  CHECK_FALSE(protocol.apply_writes(ask, writer));
  CHECK(writer.made == decltype(writer.made){{"low_limit_mv", 2800}, {"high_limit_mv", 3650}});
}

TEST_CASE("a payload of a fixed frame goes on after its layout") {
  const Protocol protocol(buses::old_style());
  Source plan;
  plan.arguments = {{"cell", {2}}};
  Source node;
  node.quantities = {{"cell_mv", {3300, 3310, 3329}}};
  Frame ask = protocol.ask(*protocol.topic_named("cell"), 7, 0, 0);
  REQUIRE_FALSE(protocol.fill(ask, Protocol::Side::ask, {}, plan));
  CHECK(wire_of(protocol, ask) == hex("07 01 02 00 00 00 00 0A"));
  Frame answer = protocol.answer_to(ask, 7, 0);
  REQUIRE_FALSE(protocol.fill(answer, Protocol::Side::answer, ask.payload.view(), node));
  CHECK(wire_of(protocol, answer) == hex("07 81 02 33 29 00 00 E6"));
  Frame read;
  REQUIRE(protocol.parse(content_of(protocol, answer), read) == Damage::none);
  CHECK(read == answer);
  std::vector<PayloadValue> values;
  REQUIRE(protocol.read(read, Protocol::Side::answer, values));
  CHECK(values.back().value == 3329);
}
