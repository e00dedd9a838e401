// The bus descriptions that come with the tool, and the mapping of every field.
#include "text/bus.h"

#include "support/buses.h"
#include "support/catch.h"
#include "text/bus_dump.h"
#include "text/scenario.h"

using namespace hopbench;

namespace {

BusDescription loaded(const TextFile& file) {
  std::vector<Problem> problems;
  const auto bus = load_bus(file, problems);
  std::string all;
  for (const Problem& problem : problems) all += render(problem);
  INFO(all);
  REQUIRE(bus);
  return *bus;
}

BusDescription shipped(const std::string& name) {
  const auto file = shipped_bus(name);
  REQUIRE(file);
  return loaded(*file);
}

}  // namespace

TEST_CASE("the bus descriptions that come with the tool say what the builders in code say") {
  CHECK(BusDump::of(shipped("bench-frame")) == BusDump::of(buses::bench_frame()));
  CHECK(BusDump::of(shipped("modbus-rtu")) == BusDump::of(buses::modbus_rtu()));
  CHECK(BusDump::of(shipped("old-style")) == BusDump::of(buses::old_style()));
  CHECK(shipped_bus_names() == std::vector<std::string>{"bench-frame", "modbus-rtu", "old-style"});
}

TEST_CASE("the files in the source tree are the ones in the binary") {
  for (const std::string& name : shipped_bus_names()) {
    std::string why;
    const auto file = read_text_file(HOPBENCH_SOURCE_DIR "/proto/buses/" + name + ".txtpb", why);
    REQUIRE(file);
    CHECK(file->text == shipped_bus(name)->text);
  }
}

TEST_CASE("line formats as people write them") {
  const auto line_of_format = [](const std::string& format) {
    return loaded({"b.txtpb",
                   "name: \"narrow\" line { format: \"" + format +
                       "\" } framing { kind: SILENCE silence_char_tenths: 35 }\n"
                       "part { field { name: \"none\" bits: 3 constant: 0 } } part { field { name: \"to\" bits: 5 } }\n"
                       "part { payload {} } roles { destination: \"to\" tell_role: BY_PENDING_ASK }\n"
                       "topic { name: \"t\" }\n"})
        .line;
  };
  const LineCoding even = line_of_format("7E1");
  CHECK(even.data_bits == 7);
  CHECK(even.parity == Parity::even);
  CHECK(even.stop_half_bits == 2);
  const LineCoding odd = line_of_format("5O1.5");
  CHECK(odd.data_bits == 5);
  CHECK(odd.parity == Parity::odd);
  CHECK(odd.stop_half_bits == 3);
}

TEST_CASE("fields that the shipped buses do not use arrive too") {
  const BusDescription bus = loaded({"b.txtpb", R"(
name: "text-bus"
framing { kind: MARKED start: "\x3a" end: "\r\n" hex_text: true abandon_char_tenths: 100 }
part { field { name: "to" } }
part { field { name: "what" } }
part { payload {} }
part { check { name: "sum" kind: NEGATED_SUM bits: 8 over_text: false } }
roles { destination: "to" topic: "what" controller_address: 250 tell_role: BY_PENDING_ASK }
forward { broadcast_answered: true pass_unknown_topic: false least_gap_char_tenths: 15 }
topic {
  name: "t" code: 5
  ask { field { name: "flag" constant: 1 } }
  answer { field { name: "kind" } }
  answer { field { name: "extra" bits: 16 little_endian: true signed: true scale { num: 5 den: 2 offset: -40 } present_if: "kind" present_value: 3 } }
  answer { group { name: "rest" to_end: true field { name: "x" digits: HEX_TEXT bits: 32 quantity: "cell_mv" } } }
}
)"});
  CHECK(bus.framing.start == std::vector<std::uint8_t>{0x3a});
  CHECK(bus.framing.end == std::vector<std::uint8_t>{'\r', '\n'});
  CHECK(bus.framing.hex_text);
  CHECK(bus.framing.abandon_char_tenths == 100);
  CHECK(bus.parts.back().check->kind == SumKind::negated_sum);
  CHECK(bus.roles.controller_address == 250);
  CHECK(bus.forward.broadcast_answered);
  CHECK_FALSE(bus.forward.pass_unknown_topic);
  CHECK(bus.forward.least_gap_char_tenths == 15);
  const TopicSpec& topic = bus.topics.front();
  CHECK(topic.changes);  // not marked, so it counts as changing
  CHECK(topic.ask.front().field->constant == 1);
  const FieldSpec& extra = *topic.answer[1].field;
  CHECK(extra.little_endian);
  CHECK(extra.is_signed);
  CHECK(extra.scale.num == 5);
  CHECK(extra.scale.den == 2);
  CHECK(extra.scale.offset == -40);
  CHECK(extra.present_if == "kind");
  CHECK(extra.present_value == 3);
  CHECK(topic.answer[2].group->to_end);
  CHECK(topic.answer[2].group->fields.front().digits == Digits::hex_text);
}
