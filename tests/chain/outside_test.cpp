// What a real controller may send through a port, and what the bench tells of it. Its bytes are made here, by hand.
#include <map>
#include <string>

#include "scenario/link_table.h"
#include "support/catch.h"
#include "support/dice.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

using Bytes = std::vector<std::uint8_t>;

/// CRC-16 as in MODBUS over serial line V1.02, section 6.2.2, bit by bit; low byte first on the wire.
Bytes with_crc(Bytes bytes) {
  std::uint32_t crc = 0xFFFF;
  for (const std::uint8_t byte : bytes) {
    crc ^= byte;
    for (int bit = 0; bit < 8; ++bit) crc = (crc & 1U) != 0 ? (crc >> 1U) ^ 0xA001U : crc >> 1U;
  }
  bytes.push_back(static_cast<std::uint8_t>(crc & 0xFFU));
  bytes.push_back(static_cast<std::uint8_t>(crc >> 8U));
  return bytes;
}

Bytes operator+(Bytes one, const Bytes& other) {
  one.insert(one.end(), other.begin(), other.end());
  return one;
}

/// A chain with a port in the controller's place.
struct Port {
  explicit Port(const SmallChain& small, std::optional<Nanos> time_out = std::nullopt)
      : protocol(small.bus),
        description(small.chain),
        chain(protocol, description, small.seed, Way::events, Seat{true, time_out}, kept) {
    chain.set_outlet([this](std::span<const Nanos>, std::span<const std::uint8_t> bytes, std::span<const std::uint8_t>,
                            bool) { heard.insert(heard.end(), bytes.begin(), bytes.end()); });
  }

  /// An ask on the bench's own bus. The destination is a distance or an address as the bus has it.
  [[nodiscard]] Bytes ask(const std::string& topic, std::uint64_t address, std::uint64_t number) const {
    const Frame frame = protocol.ask(protocol.topic_named(topic).value(), address, number, 8);
    Content content;
    protocol.encode(frame, content);
    return {content.view().begin(), content.view().end()};
  }

  void send(Nanos at, const Bytes& bytes) { chain.arrive(at, false, bytes, {}); }
  /// What comes back of these bytes, sent a second after what went before.
  Bytes talk(const Bytes& bytes) {
    heard.clear();
    send(chain.now() + second, bytes);
    REQUIRE(chain.run_until(chain.now() + second));
    return heard;
  }
  /// All that was told, when nothing comes any more.
  const Collector& end() {
    REQUIRE(chain.run_until(chain.now() + 60 * second));
    chain.finish({});
    return kept;
  }

  Collector kept;
  Protocol protocol;
  ChainDescription description;
  Chain chain;
  Bytes heard;
};

std::string entry_of(const Collector& kept, std::size_t place) {
  return kept.info.entries.at(kept.exchanges.at(place).seen.entry).name;
}

Bytes modbus(std::uint8_t address, std::uint8_t function, std::uint16_t first, std::uint16_t count) {
  const auto high = [](std::uint16_t value) { return static_cast<std::uint8_t>(value >> 8U); };
  const auto low = [](std::uint16_t value) { return static_cast<std::uint8_t>(value & 0xFFU); };
  return with_crc({address, function, high(first), low(first), high(count), low(count)});
}

SmallChain modbus_nodes(std::size_t nodes) {
  SmallChain small = modbus_chain(nodes);
  small.kind().on_unknown_topic = OnUnknownTopic::refuse;
  return small;
}

}  // namespace

TEST_CASE("two asks in one read are two exchanges", "[outside]") {
  Port port(small_chain(Shape::ring, 3));
  port.send(second, port.ask("nameplate", 1, 1) + port.ask("nameplate", 3, 2));
  const Collector& kept = port.end();
  REQUIRE(kept.exchanges.size() == 2);
  CHECK(kept.count(Outcome::answered) == 2);
  CHECK(entry_name(kept, exchange_number(kept, 0)) == "outside/n1/nameplate");
  CHECK(entry_name(kept, exchange_number(kept, 1)) == "outside/n3/nameplate");
  CHECK(exchange_number(kept, 0).asked == port.ask("nameplate", 1, 1));
  CHECK(exchange_number(kept, 1).asked == port.ask("nameplate", 3, 2));
  CHECK(kept.strays.empty());
}

TEST_CASE("two asks without the silence that must end a frame are one bad ask", "[outside]") {
  // MODBUS over serial line V1.02, section 2.5.1.1: frames are separated by at least 3.5 character times.
  Port port(modbus_nodes(2));
  const Bytes both = modbus(1, 3, 0, 2) + modbus(2, 3, 0, 2);
  CHECK(port.talk(both).empty());
  const Collector& kept = port.end();
  REQUIRE(kept.exchanges.size() == 1);
  CHECK(kept.exchanges[0].seen.outcome == Outcome::bad_ask);
  CHECK(kept.exchanges[0].asked == both);
  CHECK(why(kept.exchanges[0]).cause == Cause::bad_ask);
}

TEST_CASE("four asks are in flight and every one is answered", "[outside]") {
  SmallChain small = small_chain(Shape::ring, 4);
  small.kind().answer_after = 50 * millisecond;
  Port port(small);
  for (std::uint64_t i = 0; i < 4; ++i) {
    // Far apart they are asked first, so that they come home in another order than they were asked.
    port.send(second + static_cast<Nanos>(2 * i) * millisecond, port.ask("nameplate", 4 - i, 10 + i));
  }
  const Collector& kept = port.end();
  REQUIRE(kept.exchanges.size() == 4);
  CHECK(kept.count(Outcome::answered) == 4);
  for (std::uint64_t i = 0; i < 4; ++i) {
    const KeptExchange& each = exchange_number(kept, i);
    CHECK(entry_name(kept, each) == "outside/n" + std::to_string(4 - i) + "/nameplate");
    CHECK(each.seen.round_trip > 50 * millisecond);
    CHECK_FALSE(each.seen.ambiguous);
  }
  CHECK(kept.strays.empty());
}

TEST_CASE("a try whose answer comes during the next one is late, by what held it up", "[outside]") {
  SmallChain small = small_chain(Shape::ring, 2);
  FaultSpec& delay = small.fault(FaultClass::delay, "held up");
  delay.links = {2};
  delay.leg = LegFilter::answers;
  delay.from = second;
  delay.at_most = 1;
  delay.by = 101 * millisecond;
  Port port(small, 100 * millisecond);
  // The first one shows how long the node takes. A bit is 10 us: 2.5 ms from the ask's end to the answer's first edge.
  port.send(second / 2, port.ask("nameplate", 1, 4));
  port.send(second, port.ask("nameplate", 1, 5));
  port.send(second + 102 * millisecond, port.ask("nameplate", 1, 5));
  const Collector& kept = port.end();
  REQUIRE(kept.exchanges.size() == 2);
  const KeptExchange& held = exchange_number(kept, 1);
  REQUIRE(held.attempts.size() == 2);
  CHECK(held.attempts[0].outcome == Outcome::late);
  CHECK(why(held, 0).cause == Cause::injected_delay);
  CHECK(held.attempts[1].outcome == Outcome::answered);
  CHECK(why(held, 1).cause == Cause::none);
  CHECK(held.seen.outcome == Outcome::answered);  // it waits again, and takes what comes
  CHECK(kept.strays.size() == 1);                 // the second try's own answer: nothing waits for it
}

TEST_CASE("bytes after an ask are a bad ask of their own, and the ask is answered", "[outside]") {
  Port port(small_chain(Shape::ring, 2));
  const Bytes junk{0x11, 0x22, 0x33};
  port.send(second, port.ask("nameplate", 1, 1) + junk);
  const Collector& kept = port.end();
  REQUIRE(kept.exchanges.size() == 2);
  const KeptExchange& good = exchange_number(kept, 0);
  const KeptExchange& bad = exchange_number(kept, 1);
  CHECK(good.seen.outcome == Outcome::answered);
  CHECK(good.asked == port.ask("nameplate", 1, 1));
  CHECK(bad.seen.outcome == Outcome::bad_ask);
  CHECK(bad.asked == junk);
  CHECK(entry_name(kept, bad) == "outside/other");
}

TEST_CASE("what is no good ask is the controller's doing, with its bytes, and no hop's", "[outside]") {
  Port port(small_chain(Shape::ring, 3));
  const Bytes good = port.ask("nameplate", 2, 9);
  Bytes wrong_check = good;
  wrong_check.back() ^= 0x40U;
  Bytes wrong_marker = good;
  wrong_marker.front() ^= 0x01U;
  const Bytes half(good.begin(), good.begin() + 7);
  const Bytes garbage{0x00, 0xFF, 0x13, 0x37, 0x55};
  Bytes too_long = good;
  too_long[6] = 200;  // of 160 at most; its header check is wrong as well
  const std::map<std::string, Bytes> bad{{"a wrong check", wrong_check},
                                         {"a wrong marker", wrong_marker},
                                         {"half a frame", half},
                                         {"garbage", garbage},
                                         {"too long", too_long}};
  for (const auto& [what, bytes] : bad) {
    INFO(what);
    Port alone(small_chain(Shape::ring, 3));
    CHECK(alone.talk(bytes).empty());
    CHECK_FALSE(alone.talk(good).empty());
    const Collector& kept = alone.end();
    REQUIRE(kept.exchanges.size() >= 2);
    Bytes told;
    for (std::size_t i = 0; i + 1 < kept.exchanges.size(); ++i) {
      const KeptExchange& each = exchange_number(kept, i);
      CHECK(each.seen.outcome == Outcome::bad_ask);
      CHECK(why(each).cause == Cause::bad_ask);
      CHECK(why(each).link == 0xffff);
      told.insert(told.end(), each.asked.begin(), each.asked.end());
      for (const HopRow& row : each.rows) CHECK_FALSE(row.damaged_here());
    }
    CHECK(told == bytes);
    CHECK(exchange_number(kept, kept.exchanges.size() - 1).seen.outcome == Outcome::answered);
  }
}

TEST_CASE("errors that the port marks make a bad ask", "[outside]") {
  Port port(small_chain(Shape::ring, 2));
  const Bytes good = port.ask("nameplate", 1, 1);
  for (const unsigned mark : {1U, 2U, 4U}) {
    Bytes flags(good.size(), 0);
    flags[3] = static_cast<std::uint8_t>(mark);
    port.chain.arrive(port.chain.now() + second, true, good, flags);
  }
  const Collector& kept = port.end();
  REQUIRE(kept.exchanges.size() == 3);
  CHECK(kept.count(Outcome::bad_ask) == 3);
  CHECK(kept.exchanges[0].asked == good);
}

// ---- Modbus -----------------------------------------------------------------------------------------------------

// MODBUS Application Protocol Specification V1.1b3, section 4.1: valid function codes are 1 to 255 decimal, of which
// 128 to 255 are reserved and used for exception responses. Section 7: exception code 01, "illegal function": the
// function code received in the query is not an allowable action. An exception response has the most significant bit
// set.
TEST_CASE("a function code that is kept for exceptions is an illegal function", "[outside]") {
  for (const unsigned code : {0x80U, 0x83U, 0x90U, 0xC1U, 0xFFU}) {
    INFO(code);
    const auto function = static_cast<std::uint8_t>(code);
    Port port(modbus_nodes(2));
    const auto top = static_cast<std::uint8_t>(function | 0x80U);
    CHECK(port.talk(modbus(2, function, 0, 2)) == with_crc({2, top, 1}));
    const Collector& kept = port.end();
    REQUIRE(kept.exchanges.size() == 1);
    CHECK(kept.exchanges[0].seen.outcome == Outcome::refused);
    CHECK(kept.exchanges[0].seen.node == 1);
    CHECK(why(kept.exchanges[0]).cause == Cause::refused_by_node);
    CHECK(entry_of(kept, 0) == "outside/other");  // it asks for no topic
  }
}

// The same, for a function that is not among those of this bus.
TEST_CASE("a function code that nobody knows is an illegal function", "[outside]") {
  Port port(modbus_nodes(2));
  CHECK(port.talk(modbus(1, 0x41, 0, 2)) == with_crc({1, 0xC1, 1}));
  CHECK(port.end().count(Outcome::refused) == 1);
}

// The same specification, section 6.3: the quantity of registers is 1 to 125 (0x7D); otherwise exception code 03.
TEST_CASE("a quantity that no answer can have is an illegal data value", "[outside]") {
  Port port(modbus_nodes(2));
  for (const unsigned code : {3U, 4U}) {
    const auto function = static_cast<std::uint8_t>(code);
    for (const unsigned count : {0U, 126U, 127U, 256U, 0xFFFFU}) {
      INFO(code << " count " << count);
      const auto top = static_cast<std::uint8_t>(code | 0x80U);
      CHECK(port.talk(modbus(1, function, 0, static_cast<std::uint16_t>(count))) == with_crc({1, top, 3}));
    }
    CHECK(port.talk(modbus(1, function, 0, 1)).size() == 7);
  }
  const Collector& kept = port.end();
  CHECK(kept.count(Outcome::refused) == 10);
  CHECK(kept.count(Outcome::answered) == 2);
}

namespace {

/// Some of its answers are held up, and nothing else goes wrong: whatever fails fails because of that.
SmallChain held_up(Dice& dice, bool modbus) {
  const auto nodes = static_cast<std::size_t>(dice.between(1, 4));
  SmallChain small = modbus ? modbus_nodes(nodes) : small_chain(Shape::ring, nodes);
  if (dice.one_in(2)) small.chain.shape = Shape::line;
  const LinkTable table(small.chain.shape, nodes);
  small.chain.links.assign(table.size(), small.chain.links.front());
  small.kind().forwarding.kind =
      dice.of<Forwarding>({Forwarding::whole, Forwarding::by_character, Forwarding::electrical});
  small.kind().forwarding.delay = dice.between(0, 1) * microsecond;
  small.kind().answer_after = dice.between(1, 4) * millisecond;
  for (LinkSpec& link : small.chain.links) link.isolator_delay = dice.between(0, 2) * microsecond;
  FaultSpec& delay = small.fault(FaultClass::delay, "held up");
  delay.links = {table.home()};
  delay.leg = LegFilter::answers;
  delay.rate = certain / 2;
  delay.by = dice.between(10, 400) * millisecond;
  small.seed = dice.up_to(1'000'000);
  return small;
}

}  // namespace

TEST_CASE("of answers that are held up each failed try is late by that, and a round trip is that of its own try",
          "[outside]") {
  std::size_t failed = 0;
  std::size_t of_an_earlier_try = 0;
  for (std::uint64_t number = 0; number < 300; ++number) {
    CAPTURE(number);
    Dice dice("held up", number);
    const bool on_modbus = dice.one_in(2);
    const SmallChain small = held_up(dice, on_modbus);
    const Nanos time_out = 100 * millisecond;
    Port port(small, dice.one_in(2) ? std::nullopt : std::optional(time_out));
    for (std::uint64_t asked = 0; asked < 6; ++asked) {
      const auto node = static_cast<std::uint64_t>(dice.between(1, std::ssize(small.chain.nodes)));
      const Bytes ask =
          on_modbus ? modbus(static_cast<std::uint8_t>(node), 3, 0, 2) : port.ask("nameplate", node, asked + 1);
      const auto tries = dice.between(1, 3);
      port.heard.clear();
      Nanos at = static_cast<Nanos>(asked + 1) * 2 * second;
      for (std::int64_t i = 0; i < tries && port.heard.empty(); ++i) {
        port.send(at, ask);
        at += time_out + 60 * millisecond;
        REQUIRE(port.chain.run_until(at));
      }
    }
    const Collector& kept = port.end();
    for (const KeptExchange& each : kept.exchanges) {
      INFO(describe(each));
      for (std::size_t i = 0; i < each.attempts.size(); ++i) {
        if (each.attempts[i].outcome == Outcome::answered) continue;
        ++failed;
        CHECK(each.attempts[i].outcome == Outcome::late);
        CHECK(why(each, i).cause == Cause::injected_delay);
      }
      if (each.seen.round_trip < 0) continue;
      const Nanos end = each.seen.decided;
      const auto home = std::find_if(each.rows.begin(), each.rows.end(), [&](const HopRow& row) {
        return row.answering && row.link + 1U == kept.info.links.size() && row.end == end;
      });
      REQUIRE(home != each.rows.end());
      CHECK(each.seen.round_trip == end - each.attempts.at(home->attempt).start);
      if (home->attempt + 1U < each.attempts.size()) ++of_an_earlier_try;
    }
  }
  CHECK(failed > 300);
  CHECK(of_an_earlier_try > 50);
}

}  // namespace hopbench
