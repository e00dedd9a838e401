#include "base_chain.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <iterator>
#include <stdexcept>

namespace hopbench::rates {
namespace {

enum class Bus : std::uint8_t { bench, modbus, old_style, ring16 };

/// The bus that stands in a shipped scenario.
const std::string& ring16_bus() {
  static const std::string text = [] {
    std::ifstream in(HOPBENCH_SOURCE_DIR "/captures/ring16.txtpb");
    const std::string whole{std::istreambuf_iterator<char>(in), {}};
    const auto from = whole.find("inline_bus {");
    const auto to = whole.find("\n}\n", from);
    if (from == std::string::npos || to == std::string::npos) throw std::runtime_error("no bus in ring16.txtpb");
    return whole.substr(from, to + 3 - from);
  }();
  return text;
}

Bus some_bus(Dice& dice, const Wanted& wanted) {
  const bool bench_only = wanted.bench_frame;
  if (bench_only) return Bus::bench;
  std::vector<Bus> buses;
  const auto add = [&](Bus bus, int times) { buses.insert(buses.end(), static_cast<std::size_t>(times), bus); };
  if (!wanted.electrical) add(Bus::bench, 11);
  if (!wanted.balancing && !wanted.counts_exchanges) add(Bus::modbus, 5);
  if (!wanted.counts_exchanges) add(Bus::old_style, 2);
  if (!wanted.balancing && !wanted.multi) add(Bus::ring16, 2);
  return dice.of(buses);
}

std::uint32_t some_baud(Dice& dice, Bus bus) {
  switch (bus) {
    case Bus::bench:
      return dice.of<std::uint32_t>({9600, 19200, 38400, 57600, 115200});
    case Bus::modbus:
      return dice.of<std::uint32_t>({9600, 19200, 38400, 57600});
    case Bus::old_style:
      return dice.of<std::uint32_t>({2400, 4800, 9600, 19200});
    case Bus::ring16:
      break;
  }
  return dice.of<std::uint32_t>({9600, 19200});
}

enum class Pass : std::uint8_t { whole, by_character, electrical };

Pass some_pass(Dice& dice, Bus bus, const Wanted& wanted) {
  if (wanted.plain) return Pass::whole;
  if (wanted.electrical) return Pass::electrical;
  if (wanted.by_character) return Pass::by_character;
  const std::uint64_t draw = dice.up_to(99);
  if (bus != Bus::bench && draw < 25) return Pass::electrical;
  return draw < 50 ? Pass::by_character : Pass::whole;
}

std::string forwarding(Dice& dice, Pass pass) {
  switch (pass) {
    case Pass::electrical:
      return fmt::format(" {{ electrical {{ delay: \"{}us\" }} }}", 1 + dice.up_to(2));
    case Pass::by_character:
      return fmt::format(" {{ by_character {{ lag_half_bits: {} fifo_chars: 16 }} }}", 2 + 2 * dice.up_to(3));
    case Pass::whole:
      break;
  }
  return fmt::format(" {{ whole {{ after: \"{}us\" }} }}", 100 + 50 * dice.up_to(8));
}

KindDraft some_kind(Dice& dice, Bus bus, Pass pass, const Draft& draft, std::string name, std::uint32_t cells) {
  KindDraft kind{std::move(name), cells, {}};
  if (bus == Bus::modbus) kind.fields["on_unknown_topic"] = ": REFUSE";
  kind.fields["forwarding"] = forwarding(dice, pass);
  kind.fields["answer_after"] = fmt::format(": \"{}us\"", 200 + 100 * dice.up_to(8));
  if (cells > 1) {
    kind.fields["measurement"] =
        fmt::format(" {{ snapshot: \"{}ms\" per_cell: \"{}us\" }}", 1 + dice.up_to(9), 250 * (1 + dice.up_to(11)));
  } else if (chance(dice, 40)) {
    kind.fields["measurement"] = fmt::format(" {{ settle: \"{}ms\" snapshot: \"1ms\" }}", 1 + dice.up_to(3));
  }
  // Characters passed on at another clock need room, edges need a clock that suits all.
  kind.fields["clock"] = pass == Pass::whole ? fmt::format(" {{ spread: \"0.{}%\" }}", 1 + dice.up_to(5))
                                             : fmt::format(" {{ error: \"{}ppm\" }}", dice.between(-60, 60));
  if (!draft.battery) {
    kind.fields["levels"] = fmt::format(" {{ level: \"3.31V\" spread: \"{}mV\" swing: \"{}mV\" }}",
                                        4 + 2 * dice.up_to(8), 10 + 5 * dice.up_to(20));
    return kind;
  }
  const double rise = cells == 1 ? 40 : 90.0 / cells;
  kind.fields["heat"] = fmt::format(" {{ idle: \"{}mW\" rise: \"{:.0f}K/W\" time: \"{}min\" hot_spot: \"30K/W\" }}",
                                    50 + 5 * cells, rise, 4 + dice.up_to(5));
  kind.fields["supply"] = " { current: \"10mA\" }";
  if (draft.balances) kind.fields["bleed"] = " { resistor: \"33ohm\" duty: \"50%\" chop_period: \"4ms\" }";
  return kind;
}

void add_polls(Dice& dice, Bus bus, Draft& draft) {
  const auto every = [](std::uint64_t n) { return n == 1 ? std::string{} : fmt::format(" every: {}", n); };
  const auto poll = [&](const std::string& name, const std::string& topic, const std::string& with, std::uint64_t n) {
    draft.polls.push_back(
        fmt::format("poll {{ name: \"{}\" topic: \"{}\" nodes: \"*\" {}{} }}", name, topic, with, every(n)));
  };
  const std::string from_first = "with { field: \"first\" value: 0 } with { field: \"count\" own: CELLS }";
  switch (bus) {
    case Bus::bench:
      poll("cells", "readings", from_first, 1);
      if (draft.battery || chance(dice, 70)) poll("boards", "conditions", "", 1 + dice.up_to(8));
      if (chance(dice, 35)) poll("health", "line_health", "", 5 + dice.up_to(40));
      if (chance(dice, 25)) poll("plates", "nameplate", "", 2 + dice.up_to(20));
      break;
    case Bus::modbus:
      poll("cells", "read_holding", from_first, 1);
      if (draft.battery || chance(dice, 70))
        poll("boards", "read_input", "with { field: \"first\" value: 101 } with { field: \"count\" value: 4 }",
             1 + dice.up_to(8));
      if (chance(dice, 35))
        poll("health", "read_input", "with { field: \"first\" value: 110 } with { field: \"count\" value: 2 }",
             5 + dice.up_to(40));
      break;
    case Bus::old_style:
      poll("cells", "cell", "with { field: \"cell\" value: 0 }", 1);
      if (draft.battery || chance(dice, 70)) poll("boards", "board", "", 1 + dice.up_to(8));
      break;
    case Bus::ring16:
      poll("cell", "cell", "", 1);
      break;
  }
}

void add_controller(Dice& dice, Bus bus, Draft& draft) {
  Fields& controller = draft.controller;
  controller["time_out"] = ": \"60s\"";  // for the trial; the maker puts the real one in its place
  const std::uint64_t retries = dice.of<std::uint64_t>({0, 0, 0, 1, 1, 2});
  controller["retries"] = fmt::format(": {}", retries);
  if (retries > 0 && chance(dice, 50))
    controller["back_off"] = fmt::format(" {{ first: \"{}ms\" jitter: \"{}ms\" }}", 5 * (1 + dice.up_to(9)), 5);
  if (chance(dice, 30)) controller["order"] = ": NODE_BY_NODE";
  if (bus == Bus::modbus || bus == Bus::old_style) {
    controller["on_late"] = chance(dice, 50) ? ": ACCEPT" : ": IGNORE_IT";
  } else if (chance(dice, 30)) {
    controller["on_late"] = ": IGNORE_IT";
  }
  controller["gap"] = fmt::format(": \"{}ms\"", 2 + dice.up_to(30));
}

}  // namespace

double log_between(Dice& dice, double low, double high) {
  constexpr std::uint64_t steps = 1'000'000;
  const double at = static_cast<double>(dice.up_to(steps)) / static_cast<double>(steps);
  return low * std::pow(high / low, at);
}

bool chance(Dice& dice, unsigned percent) { return dice.up_to(99) < percent; }

Draft base_chain(std::uint64_t number, const Wanted& wanted) {
  Dice dice("chain to hide things in", number);
  Draft draft;
  draft.seed = number;
  const Bus bus = some_bus(dice, wanted);
  draft.battery = wanted.battery || wanted.balancing || (chance(dice, 20) && !wanted.plain);
  draft.balances =
      wanted.balancing || (draft.battery && (bus == Bus::bench || bus == Bus::old_style) && chance(dice, 70));
  draft.line = wanted.line || (chance(dice, 35) && !wanted.ring);
  draft.baud = some_baud(dice, bus);
  switch (bus) {
    case Bus::bench:
      draft.bus = "bench-frame";
      break;
    case Bus::modbus:
      draft.bus = "modbus-rtu";
      break;
    case Bus::old_style:
      draft.bus = "old-style";
      break;
    case Bus::ring16:
      draft.inline_bus = ring16_bus();
      break;
  }
  const Pass pass = some_pass(dice, bus, wanted);
  // Edges are passed on by all nodes or by none; others may be mixed.
  const bool mixed = pass != Pass::electrical && !wanted.by_character && !wanted.plain && chance(dice, 25);
  const Pass other = mixed ? (pass == Pass::whole ? Pass::by_character : Pass::whole) : pass;
  const bool multi = bus != Bus::ring16 && (wanted.multi || chance(dice, 60));
  const auto cells = static_cast<std::uint32_t>(dice.between(4, 16));
  draft.kinds.push_back(some_kind(dice, bus, pass, draft, "single", 1));
  if (multi) draft.kinds.push_back(some_kind(dice, bus, other, draft, "multi", cells));
  const auto count = static_cast<std::size_t>(std::llround(log_between(dice, 4, 40)));
  for (std::size_t i = 0; i < count; ++i) {
    const bool large = multi && (dice.one_in(4) || i + 1 == count);
    draft.nodes.push_back({fmt::format("n{:02}", i + 1), large ? std::size_t{1} : 0, {}});
  }
  if (pass == Pass::electrical) {
    // Somebody has to take frames off the chain.
    KindDraft& last = draft.own_kind(count - 1);
    last.name = "last";
    last.fields.erase("forwarding");
  }
  draft.every_hop = fmt::format("isolator_delay: \"{}ns\" ", 100 * dice.between(1, 12));
  add_controller(dice, bus, draft);
  add_polls(dice, bus, draft);
  draft.run_for = 3600 * second;
  return draft;
}

}  // namespace hopbench::rates
