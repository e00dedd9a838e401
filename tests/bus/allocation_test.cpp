// Hot calls do not allocate once they have run, and what a decoder holds is bounded whatever it hears.
#ifndef __SANITIZE_ADDRESS__  // which brings its own operator new
#include <cstdlib>
#include <new>

#include "bus_test_tools.h"
#include "support/buses.h"
#include "support/catch.h"

namespace {
std::size_t allocations = 0;  // by operator new, in all
}

// The compiler sees free() meet memory of operator new where both forms are inlined; they are a pair.
#pragma GCC diagnostic ignored "-Wmismatched-new-delete"
// NOLINTBEGIN: the replaced forms, matched by the library's other forms that call them.
void* operator new(std::size_t size) {
  ++allocations;
  if (void* place = std::malloc(size == 0 ? 1 : size)) return place;
  throw std::bad_alloc();
}
void* operator new(std::size_t size, const std::nothrow_t&) noexcept {
  ++allocations;
  return std::malloc(size == 0 ? 1 : size);
}
void operator delete(void* place) noexcept { std::free(place); }
void operator delete(void* place, std::size_t) noexcept { std::free(place); }
// NOLINTEND

using namespace hopbench;
using namespace hopbench::testing;

TEST_CASE("encoding, wrapping, parsing, forwarding, filling and hearing a frame do not allocate") {
  for (const auto& bus : {buses::bench_frame(), buses::modbus_rtu(), buses::old_style()}) {
    const Protocol protocol(bus);
    Source source;
    source.arguments = {{"first", {0}}, {"count", {2}}, {"cell", {0}}};
    source.quantities = {{"cell_mv", {3300, 3301}},
                         {"snapshot_age_ms", {1}},
                         {"board_temp_mc", {1}},
                         {"supply_mv", {2}},
                         {"bleed_mask", {0}}};
    const std::uint32_t topic = bus.name == "old-style" ? 0 : bus.name == "modbus-rtu" ? 0 : 1;
    std::vector<Finding> findings;
    std::vector<PayloadValue> values;
    findings.reserve(4);
    values.reserve(16);
    Decoder decoder(protocol, period_of_baud(bus.line.baud));
    Nanos now = 0;
    bool well = true;
    std::size_t before = 0;
    for (int round = 0; round < 3; ++round) {
      if (round == 1) before = allocations;  // the first round warms up
      Frame ask = protocol.ask(topic, 7, 5, 9);
      well = well && !protocol.fill(ask, Protocol::Side::ask, {}, source);
      Frame answer = protocol.answer_to(ask, 7, 9);
      well = well && !protocol.fill(answer, Protocol::Side::answer, ask.payload.view(), source);
      Content content;
      protocol.encode(answer, content);
      WireBytes wire;
      protocol.wrap(content.view(), wire);
      Frame read;
      well = well && protocol.parse(content.view(), read) == Damage::none;
      well = well && protocol.read(read, Protocol::Side::answer, values) ==
                         (read.role == Role::answer || bus.name == "modbus-rtu");
      well = well && protocol.forward_bytes(content) && protocol.forward(answer);
      findings.clear();
      for (const std::uint8_t byte : wire.view()) {
        HeardChar character;
        character.byte = byte;
        character.start = now;
        character.end = now += 100'000;
        decoder.push(character, findings);
      }
      now += second;
      decoder.silent_until(now, findings);
      well = well && findings.size() == 1 && findings[0].damage == Damage::none;
    }
    const std::size_t made = allocations - before;
    INFO(bus.name);
    CHECK(well);
    CHECK(made == 0);
  }
}

TEST_CASE("a decoder that has heard much noise holds no more than before") {
  for (const auto& bus : {buses::bench_frame(), buses::modbus_rtu(), buses::old_style()}) {
    const Protocol protocol(bus);
    Decoder decoder(protocol, period_of_baud(bus.line.baud));
    std::vector<Finding> findings;
    findings.reserve(64);
    std::uint32_t noise = 12345;
    Nanos now = 0;
    std::size_t after_warm_up = 0;
    for (int i = 0; i < 200'000; ++i) {
      if (i == 20'000) after_warm_up = allocations;
      noise = noise * 1664525U + 1013904223U;
      HeardChar character;
      // Many markers, so that much looks like the beginning of a frame.
      character.byte = noise >> 30U == 0 ? std::uint8_t{0xB5} : static_cast<std::uint8_t>(noise >> 24U);
      character.start = now;
      character.end = ++now;
      findings.clear();
      decoder.push(character, findings);
    }
    const std::size_t made = allocations - after_warm_up;
    INFO(bus.name);
    CHECK(made == 0);
  }
}
#endif
