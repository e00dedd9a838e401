// Modbus RTU by its description. Sources: [S] MODBUS over Serial Line, Specification and Implementation Guide V1.02,
// modbus.org, 2006 (second-hand, through implementations that quote it); [A] MODBUS Application Protocol Specification
// V1.1b3.
#include "bus_test_tools.h"
#include "support/buses.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::testing;

namespace {

BusDescription modbus_at(std::uint32_t baud) {
  BusDescription bus = buses::modbus_rtu();
  bus.line.baud = baud;
  return bus;
}

Nanos end_silence_at(std::uint32_t baud) { return Protocol(modbus_at(baud)).end_silence(period_of_baud(baud)); }

struct Modbus {
  Protocol protocol{buses::modbus_rtu()};
  Source node;
  Modbus() {
    node.quantities = {{"cell_mv", {3300, 3310, 3320, 3330}},
                       {"board_temp_mc", {-12'340}},
                       {"cell_count", {4}},
                       {"supply_mv", {70'000}},
                       {"snapshot_age_ms", {15}},
                       {"bleed_mask", {5}},
                       {"low_limit_mv", {2800}},
                       {"high_limit_mv", {3650}}};
  }
  Frame ask(const char* topic, Source arguments) {
    Frame frame = protocol.ask(*protocol.topic_named(topic), 17, 0, 0);
    REQUIRE_FALSE(protocol.fill(frame, Protocol::Side::ask, {}, arguments));
    return frame;
  }
  Source arguments(std::uint64_t first, std::uint64_t count, std::vector<std::uint64_t> values = {}) {
    Source source;
    source.arguments = {{"first", {first}}, {"count", {count}}, {"value", std::move(values)}};
    return source;
  }
  std::optional<Refusal> refusal(std::uint64_t first, std::uint64_t count) {
    const Frame asked = ask("read_holding", arguments(first, count));
    Frame frame = protocol.answer_to(asked, 17, 0);
    return protocol.fill(frame, Protocol::Side::answer, asked.payload.view(), node);
  }
};

struct Writes : Protocol::RegisterWriter {
  std::vector<std::tuple<std::string, std::uint32_t, std::int64_t>> made;
  void write(std::string_view quantity, std::uint32_t index, std::int64_t value) override {
    made.emplace_back(quantity, index, value);
  }
};

}  // namespace

TEST_CASE("published frames carry the CRC that the description makes") {
  struct Row {
    const char* frame;
    const char* crc;
    const char* source;
  };
  const std::vector<Row> rows{
      {"02 07", "41 12", "[S] section 6.2.2, worked CRC example"},
      {"01 03 00 6B 00 03", "74 17", "documentation of a Modbus library on docs.rs"},
      {"01 03 00 85 00 01", "95 E3", "a public issue report"},
      {"01 03 02 01 84", "B9 B7", "a public issue report"},
      {"01 03 00 00 00 0A", "C5 CD", "from memory"},
      {"11 03 00 6B 00 03", "76 87", "from memory"},
      {"11 05 00 AC FF 00", "4E 8B", "from memory"},
      {"11 06 00 01 00 03", "9A 9B", "from memory"},
  };
  const Protocol protocol(buses::modbus_rtu());
  for (const Row& row : rows) {
    INFO(row.frame << " by " << row.source);
    Bytes content = hex(row.frame);
    const Bytes crc = hex(row.crc);
    content.insert(content.end(), crc.begin(), crc.end());
    Frame frame;
    CHECK(protocol.parse(content, frame) == Damage::none);
    CHECK(content_of(protocol, frame) == content);
    content.back() ^= 0x01;
    CHECK(protocol.parse(content, frame) == Damage::check);
  }
}

TEST_CASE("the silence that ends a frame is the standard's at every speed") {
  // [S] section 2.5.1.1: 3.5 characters of 11 bits up to 19200 Bd, 1.750 ms above. Values in ns, rounded down.
  CHECK(Protocol(modbus_at(9600)).line().char_half_bits() == 22);
  CHECK(end_silence_at(1200) == 32'083'333);
  CHECK(end_silence_at(2400) == 16'041'666);
  CHECK(end_silence_at(4800) == 8'020'833);
  CHECK(end_silence_at(9600) == 4'010'416);
  CHECK(end_silence_at(19200) == 2'005'208);
  for (const std::uint32_t fast : {19'201U, 20'000U, 38'400U, 115'200U}) CHECK(end_silence_at(fast) == 1'750'000);
}

TEST_CASE("a sender leaves more than the silence that ends a frame") {
  for (const std::uint32_t baud : {1200U, 19200U, 38400U, 115200U}) {
    const Protocol protocol(modbus_at(baud));
    const Period period = period_of_baud(baud);
    CHECK(protocol.least_gap(period) > protocol.end_silence(period));
  }
}

TEST_CASE("registers are read through the map") {
  Modbus bus;
  const Frame asked = bus.ask("read_holding", bus.arguments(1, 3));
  CHECK(wire_of(bus.protocol, asked).size() == 8);
  Frame answer = bus.protocol.answer_to(asked, 17, 0);
  REQUIRE_FALSE(bus.protocol.fill(answer, Protocol::Side::answer, asked.payload.view(), bus.node));
  CHECK(Bytes(answer.payload.view().begin(), answer.payload.view().end()) == hex("06 0C EE 0C F8 0D 02"));
  std::vector<PayloadValue> values;
  REQUIRE(bus.protocol.read(answer, Protocol::Side::answer, values));
  CHECK(values.front().value == 3);  // six bytes are three registers
  CHECK(values.back().value == 3330);
}

TEST_CASE("a signed register is scaled and one that cannot hold its value saturates") {
  Modbus bus;
  const Frame asked = bus.ask("read_input", bus.arguments(102, 2));
  Frame answer = bus.protocol.answer_to(asked, 17, 0);
  REQUIRE_FALSE(bus.protocol.fill(answer, Protocol::Side::answer, asked.payload.view(), bus.node));
  // -12340 in hundreds is -123.4, nearest -123 = FF85; 70000 does not fit in 16 bits.
  CHECK(Bytes(answer.payload.view().begin(), answer.payload.view().end()) == hex("04 FF 85 FF FF"));
}

TEST_CASE("what is out of range is refused with the standard's codes") {
  Modbus bus;
  CHECK(bus.refusal(50, 1) == Refusal::bad_address);   // no such register
  CHECK(bus.refusal(3, 2) == Refusal::bad_address);    // cell 4 of 4
  CHECK(bus.refusal(103, 8) == Refusal::bad_address);  // runs off the map
  CHECK(bus.refusal(0, 0) == Refusal::bad_value);
  CHECK(bus.refusal(0, 65'535) == Refusal::bad_value);
  const Frame asked = bus.ask("read_holding", bus.arguments(50, 1));
  Frame refusal = bus.protocol.refusal_of(asked, 17, 0, Refusal::bad_address);
  // [A] section 7: the function code with its top bit set, then the exception code; 2 is an illegal data address.
  const Bytes content = content_of(bus.protocol, refusal);
  CHECK(Bytes(content.begin(), content.end() - 2) == hex("11 83 02"));
  Frame read;
  REQUIRE(bus.protocol.parse(content, read) == Damage::none);
  CHECK(read.role == Role::refusal);
  CHECK(bus.protocol.topic(read) == bus.protocol.topic_named("read_holding"));
  CHECK(bus.protocol.refusal_code(read) == 2U);
  CHECK(bus.protocol.source(read) == 17U);
}

TEST_CASE("writing one register and writing several") {
  Modbus bus;
  const Frame single = bus.ask("write_single", bus.arguments(104, 0, {3}));
  const Bytes content = content_of(bus.protocol, single);
  CHECK(Bytes(content.begin(), content.end() - 2) == hex("11 06 00 68 00 03"));
  Writes writes;
  CHECK_FALSE(bus.protocol.apply_writes(single, writes));
  CHECK(writes.made == decltype(writes.made){{"bleed_mask", 0, 3}});
  // [A] section 6.6: the answer to a single write is its echo.
  Frame echo = bus.protocol.answer_to(single, 17, 0);
  REQUIRE_FALSE(bus.protocol.fill(echo, Protocol::Side::answer, single.payload.view(), bus.node));
  CHECK(content_of(bus.protocol, echo) == content);

  const Frame several = bus.ask("write_several", bus.arguments(105, 2, {2900, 3600}));
  const Bytes long_content = content_of(bus.protocol, several);
  // [A] section 6.12: address, quantity, byte count, values.
  CHECK(Bytes(long_content.begin(), long_content.end() - 2) == hex("11 10 00 69 00 02 04 0B 54 0E 10"));
  writes.made.clear();
  CHECK_FALSE(bus.protocol.apply_writes(several, writes));
  CHECK(writes.made == decltype(writes.made){{"low_limit_mv", 0, 2900}, {"high_limit_mv", 0, 3600}});
  Frame answer = bus.protocol.answer_to(several, 17, 0);
  REQUIRE_FALSE(bus.protocol.fill(answer, Protocol::Side::answer, several.payload.view(), bus.node));
  CHECK(Bytes(answer.payload.view().begin(), answer.payload.view().end()) == hex("00 69 00 02"));
}

TEST_CASE("a write that any register refuses writes nothing") {
  Modbus bus;
  Writes writes;
  CHECK(bus.protocol.apply_writes(bus.ask("write_several", bus.arguments(103, 2, {1, 2})), writes) ==
        Refusal::bad_address);
  CHECK(bus.protocol.apply_writes(bus.ask("write_single", bus.arguments(0, 0, {1})), writes) == Refusal::bad_address);
  Frame odd = bus.ask("write_several", bus.arguments(105, 2, {1, 2}));
  odd.payload[3] = 3;  // says three registers, brings two
  CHECK(bus.protocol.apply_writes(odd, writes) == Refusal::bad_value);
  odd.payload.resize(odd.payload.size() - 1);
  CHECK(bus.protocol.apply_writes(odd, writes) == Refusal::bad_value);
  CHECK(writes.made.empty());
  CHECK_FALSE(bus.protocol.apply_writes(bus.ask("read_holding", bus.arguments(0, 1)), writes));
  CHECK(writes.made.empty());
}

TEST_CASE("asks are told from answers by what is pending, so bytes alone say ask") {
  Modbus bus;
  const Frame asked = bus.ask("read_holding", bus.arguments(0, 1));
  Frame answer = bus.protocol.answer_to(asked, 17, 0);
  REQUIRE_FALSE(bus.protocol.fill(answer, Protocol::Side::answer, asked.payload.view(), bus.node));
  CHECK(answer.role == Role::answer);
  CHECK(bus.protocol.bound_for(answer, 17) == Protocol::Bound::controller);
  Frame read;
  REQUIRE(bus.protocol.parse(content_of(bus.protocol, answer), read) == Damage::none);
  CHECK(read.role == Role::ask);
  CHECK(bus.protocol.bound_for(asked, 17) == Protocol::Bound::here);
  CHECK(bus.protocol.bound_for(asked, 18) == Protocol::Bound::elsewhere);
  CHECK(bus.protocol.bound_for(bus.protocol.ask(0, 0, 0, 0), 18) == Protocol::Bound::everyone);
  CHECK(bus.protocol.description().forward.unclaimed == Unclaimed::last_node_stops_it);
}
