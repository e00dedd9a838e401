// Descriptions that contradict nothing and cannot work on a wire.
#include "bus/misfits.h"

#include <functional>

#include "bus/byte_values.h"
#include "bus/protocol.h"
#include "support/buses.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

using Change = std::function<void(BusDescription&)>;

std::string shown(const std::vector<Misfit>& misfits) {
  std::string all;
  for (const Misfit& misfit : misfits) all += misfit.part + ": " + misfit.what + "\n";
  return all;
}

struct Case {
  const char* part;
  const char* words;
  bool surely;
  Change change;
};

void check_all(const BusDescription& sound, const std::vector<Case>& cases) {
  REQUIRE(shown(misfits_of(sound)).empty());
  for (const Case& each : cases) {
    BusDescription bus = sound;
    each.change(bus);
    REQUIRE(Protocol::faults_of(bus).empty());
    const auto misfits = misfits_of(bus);
    INFO(each.part << " / " << each.words << " among\n" << shown(misfits));
    bool found = false;
    for (const Misfit& misfit : misfits) {
      found = found || (misfit.part == each.part && misfit.surely == each.surely &&
                        misfit.what.find(each.words) != std::string::npos);
    }
    CHECK(found);
  }
}

}  // namespace

TEST_CASE("the three shared descriptions fit") {
  CHECK(shown(misfits_of(buses::bench_frame())).empty());
  CHECK(shown(misfits_of(buses::modbus_rtu())).empty());
  CHECK(shown(misfits_of(buses::old_style())).empty());
}

TEST_CASE("what must arrive as it was sent may not be rewritten") {
  check_all(buses::bench_frame(), {
                                      {"forward.rewrite[1].field", "says for whom a frame is", true,
                                       [](BusDescription& b) {
                                         b.forward.rewrite.push_back({"to", 1});
                                       }},
                                      {"forward.rewrite[1].field", "says whom a frame comes from", true,
                                       [](BusDescription& b) {
                                         b.forward.rewrite.push_back({"from", 1});
                                       }},
                                      {"forward.rewrite[1].field", "names the exchange", true,
                                       [](BusDescription& b) {
                                         b.forward.rewrite.push_back({"exchange", 1});
                                       }},
                                      {"forward.rewrite[1].field", "names the topic", true,
                                       [](BusDescription& b) {
                                         b.forward.rewrite.push_back({"topic", 1});
                                       }},
                                      {"forward.rewrite[1].field", "tells asks from answers", true,
                                       [](BusDescription& b) {
                                         b.forward.rewrite.push_back({"role", 1});
                                       }},
                                      {"forward.rewrite[1].add", "write add: -1", true,
                                       [](BusDescription& b) {
                                         b.parts.insert(b.parts.begin() + 6, buses::part(buses::field("steps", 8)));
                                         b.roles.destination.clear();
                                         b.roles.broadcast.clear();
                                         b.roles.first_unenrolled.reset();
                                         b.roles.distance = "steps";
                                         b.roles.controller_address = 99;
                                         b.framing.size_plus = 13;
                                         b.forward.rewrite.push_back({"steps", -2});
                                       }},
                                  });
}

TEST_CASE("a mark for refusals needs a place of its own") {
  check_all(buses::modbus_rtu(),
            {{"roles.refusal_mark.field", "takes every value in time", true, [](BusDescription& b) {
                b.parts.insert(b.parts.begin() + 2, buses::part(buses::field("number", 8)));
                b.roles.exchange = "number";
                b.roles.refusal_mark->field = "number";
              }}});
}

TEST_CASE("an answer's field that nothing fills is warned of") {
  check_all(buses::bench_frame(),
            {
                {"topics[0].answer[3].field", "a simulated node refuses every ask of nameplate", false,
                 [](BusDescription& b) { b.topics[0].answer.push_back(buses::item(buses::field("what", 8))); }},
                {"topics[1].answer[3].group.fields[0]", "nothing fills \"cell\"", false,
                 [](BusDescription& b) {
                   b.topics[1].answer[3].group->fields[0].quantity.clear();
                   b.registers = {};
                   b.topics[1].values_group.clear();
                   b.topics[1].first_field.clear();
                   b.topics[1].count_field.clear();
                 }},
            });
}

TEST_CASE("the values of bytes that several fields share, in either order of bytes and as digits") {
  BusDescription bus = buses::old_style();
  bus.parts.insert(bus.parts.begin(), buses::part(buses::constant("high", 12, 0xABC)));
  bus.parts.insert(bus.parts.begin() + 1, buses::part(buses::field("low", 4)));
  FieldSpec little = buses::constant("little", 16, 0x1234);
  little.little_endian = true;
  bus.parts.insert(bus.parts.begin() + 2, buses::part(little));
  FieldSpec digits = buses::field("digits", 16);
  digits.digits = Digits::hex_text;
  bus.parts.insert(bus.parts.begin() + 3, buses::part(digits));
  FieldSpec packed = buses::field("packed", 8);
  packed.digits = Digits::bcd;
  bus.parts.insert(bus.parts.begin() + 4, buses::part(packed));
  bus.framing.fixed_bytes = 24;
  REQUIRE(Protocol::faults_of(bus).empty());
  const auto bytes = bytes_of(bus, 0, Role::answer);
  CHECK(bytes[0].values.count() == 1);
  CHECK(bytes[0].values.test(0xAB));
  CHECK(bytes[1].values.count() == 16);  // c0 to cf
  CHECK(bytes[1].values.test(0xC0));
  CHECK(bytes[1].values.test(0xCF));
  CHECK(bytes[2].values.test(0x34));
  CHECK(bytes[3].values.test(0x12));
  CHECK(bytes[4].values.count() == 16);
  CHECK(bytes[4].values.test('F'));
  CHECK_FALSE(bytes[4].values.test('a'));
  CHECK(bytes[6].values.count() == 100);
  CHECK_FALSE(bytes[6].values.test(0x9A));
  // The unit is any, the direction of an answer is 1 and the topic's code is 1: 81.
  CHECK(bytes[7].values.count() == 256);
  CHECK(bytes[8].values.count() == 1);
  CHECK(bytes[8].values.test(0x81));
  CHECK(bytes_of(bus, 0, Role::ask)[8].values.test(0x01));
  CHECK(bytes_of(bus, 0, Role::refusal)[8].values.test(0xC1));
}
