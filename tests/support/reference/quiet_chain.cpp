#include "support/reference/quiet_chain.h"

#include <algorithm>
#include <string>

#include "support/dice.h"

namespace hopbench::reference {
namespace {

PlainBus some_bus(Dice& dice) {
  PlainBus bus;
  bus.framing = static_cast<PlainFraming>(dice.up_to(9));
  bus.line.baud = dice.of(std::vector<std::uint32_t>{2400, 9600, 19200, 38400, 57600, 115200, 250000});
  if (dice.one_in(3)) bus.line.parity = dice.one_in(2) ? Parity::even : Parity::odd;
  if (dice.one_in(3)) bus.line.stop_half_bits = static_cast<std::uint32_t>(3 + dice.up_to(1));
  if (bus.framing == PlainFraming::hex_text && dice.one_in(2)) bus.line.data_bits = 7;
  const bool stuffed =
      bus.framing == PlainFraming::slip || bus.framing == PlainFraming::hdlc || bus.framing == PlainFraming::cobs;
  bus.leading_boundary = stuffed && dice.one_in(2);
  bus.passes = dice.one_in(2);
  bus.source = dice.one_in(2);
  bus.distance = dice.one_in(5);
  if (bus.distance) bus.source = true;
  bus.number_bytes = static_cast<std::uint32_t>(dice.up_to(2));
  bus.little_endian = dice.one_in(2);
  if (dice.one_in(3)) bus.tell_role = dice.one_in(2) ? TellRole::by_position : TellRole::by_pending_ask;
  bus.check = static_cast<PlainCheck>(dice.up_to(5));
  bus.check_covers_way = dice.one_in(2);
  bus.repair = dice.one_in(2) ? CheckRepair::if_good : CheckRepair::by_difference;
  // Without roles on the wire a request that comes round passes for its answer.
  bus.unclaimed = !bus.role_field() || dice.one_in(3) ? Unclaimed::last_node_stops_it : Unclaimed::returns;
  bus.pass_unknown_topic = !dice.one_in(4);
  if (dice.one_in(3)) bus.least_gap_char_tenths = static_cast<std::uint32_t>(dice.up_to(60));
  bus.silence_char_tenths = static_cast<std::uint32_t>(dice.between(15, 60));
  if (dice.one_in(2)) bus.silence_least_us = static_cast<std::uint32_t>(dice.between(200, 3000));
  if (dice.one_in(2) && bus.silence_least_us * bus.line.baud > 20'000'000) bus.silence_fixed_above_baud = 19200;
  // A sender leaves at least half a character more than the pause that ends a frame.
  if (bus.framing == PlainFraming::silence) {
    const std::uint64_t least_tenths = std::uint64_t{bus.silence_least_us} * bus.line.baud * 20 /
                                       (1'000'000 * std::uint64_t{bus.line.char_half_bits()});
    bus.least_gap_char_tenths =
        static_cast<std::uint32_t>(std::max<std::uint64_t>(bus.silence_char_tenths, least_tenths) + 10);
  }
  return bus;
}

ForwardingSpec some_forwarding(Dice& dice, const PlainBus& bus, Shape shape) {
  ForwardingSpec how;
  how.after = dice.between(0, 2000) * microsecond;
  // A frame that nobody can take off comes round, so its role must be on the wire; and nobody can rewrite it.
  const bool may_come_round = shape == Shape::line || bus.role_field();
  const bool by_character = dice.one_in(3);
  const bool electrical = dice.one_in(4);
  // What it rewrites it must see before it sends it on, and what it makes good it must first know to be good.
  const bool rewrites = bus.passes || bus.distance;
  const bool too_late = bus.repair == CheckRepair::if_good && bus.check_covers_way;
  if (by_character && (head_hidden(bus) ? may_come_round && !rewrites : !rewrites || !too_late)) {
    how.kind = Forwarding::by_character;
    how.lag_half_bits = static_cast<std::uint32_t>(dice.up_to(20));
    how.fifo_chars = 1024;
  } else if (electrical && may_come_round && !rewrites) {
    how.kind = Forwarding::electrical;
    how.delay = dice.between(0, 3000);
  }
  return how;
}

KindSpec some_kind(Dice& dice, const PlainBus& bus, Shape shape, const std::string& name) {
  KindSpec kind;
  kind.name = name;
  kind.cells = dice.one_in(2) ? 1 : static_cast<std::uint32_t>(4 + dice.up_to(12));
  kind.forwarding = some_forwarding(dice, bus, shape);
  kind.answer_after = dice.between(300, 5000) * microsecond;
  kind.levels = {dice.between(2500, 3650) * 1000, 0, 0, 86'400 * second};
  if (dice.one_in(2)) {
    kind.measurement.settle = dice.between(0, 5) * millisecond;
    kind.measurement.snapshot = dice.between(0, 9) * millisecond;
    kind.measurement.per_cell = dice.between(0, 3000) * microsecond;
    kind.measurement.bleed = static_cast<BleedWhile>(dice.up_to(2));
  }
  if (dice.one_in(4)) kind.topics = {"plate", "cells", "set_low", "limits"};
  if (dice.one_in(2)) kind.on_unknown_topic = OnUnknownTopic::refuse;
  if (dice.one_in(8)) kind.buffer_bytes = static_cast<std::uint32_t>(8 + dice.up_to(24));
  // Without an address, since nobody gives it one. Where neither role nor sender is on the wire of a ring, an ask that
  // has come past it passes for its answer (docs/chain.md, "What is simplified").
  const bool told = shape == Shape::line || bus.role_field() || bus.source;
  if (dice.one_in(8) && !bus.distance && told) kind.enrols = true;
  return kind;
}

ClockSpec some_clock(Dice& dice) {
  ClockSpec clock;
  clock.error_ppb = dice.one_in(3) ? 0 : dice.between(-10'000'000, 10'000'000);  // 2 % apart do no harm to 11 bits
  return clock;
}

PlainAsk some_ask(Dice& dice, const ChainDescription& chain) {
  PlainAsk ask;
  ask.topic = static_cast<PlainTopic>(1 + dice.up_to(5));
  ask.value =
      static_cast<std::uint16_t>(ask.topic == PlainTopic::set_low ? dice.between(1000, 3000) : dice.up_to(0xFFFF));
  const std::size_t node = dice.up_to(chain.nodes.size() - 1);
  ask.node = node;
  if (dice.one_in(8)) {
    ask.node.reset();
    ask.topic = PlainTopic::set_low;
    ask.value = static_cast<std::uint16_t>(dice.between(1000, 3000));
  } else if (ask.topic == PlainTopic::cells) {
    const std::uint32_t cells = chain.kinds[chain.nodes[node].kind].cells;
    ask.first = static_cast<std::uint8_t>(dice.up_to(cells - 1));
    ask.count = static_cast<std::uint8_t>(dice.one_in(6) ? dice.up_to(16) : 1 + dice.up_to(cells - ask.first - 1));
  }
  return ask;
}

PlanEntry entry_of(const PlainAsk& ask, std::size_t number) {
  PlanEntry entry;
  entry.name = "entry" + std::to_string(number);
  entry.node = ask.node ? static_cast<std::uint16_t>(*ask.node) : std::uint16_t{0xffff};
  entry.topic = name_of_topic(ask.topic);
  if (ask.topic == PlainTopic::cells) entry.arguments = {{"first", ask.first}, {"count", ask.count}};
  if (ask.topic == PlainTopic::set_low) entry.arguments = {{"low", ask.value}};
  if (ask.topic == PlainTopic::echo) entry.arguments = {{"token", ask.value}};
  return entry;
}

/// Longer than any frame's way there and back.
Nanos long_enough(const QuietChain& made) {
  const Nanos frame = 200 * 12 * static_cast<Nanos>(second / made.bus.line.baud);
  return static_cast<Nanos>(2 * made.chain.nodes.size() + 2) * (frame + 15 * millisecond) + 100 * millisecond;
}

/// Nothing is refused, and every node takes off what is for it, so that one try does not catch up with another one.
bool may_be_impatient(const QuietChain& made) {
  return std::all_of(made.chain.kinds.begin(), made.chain.kinds.end(), [&](const KindSpec& kind) {
    return kind.forwarding.kind == Forwarding::whole ||
           (kind.forwarding.kind == Forwarding::by_character && !head_hidden(made.bus));
  });
}

void make_impatient(Dice& dice, QuietChain& made) {
  made.impatient = true;
  ChainDescription& chain = made.chain;
  for (KindSpec& kind : chain.kinds) {
    kind.topics.clear();
    kind.buffer_bytes = 0;
    kind.measurement.per_cell = dice.between(0, 20) * millisecond;
    kind.measurement.snapshot = dice.between(0, 60) * millisecond;
  }
  ControllerSpec& controller = chain.controller;
  controller.plan.clear();
  for (PlainAsk& ask : made.asks) {
    const std::size_t node = dice.up_to(chain.nodes.size() - 1);
    const std::uint32_t cells = chain.kinds[chain.nodes[node].kind].cells;
    ask = {node, dice.one_in(4) ? PlainTopic::plate : PlainTopic::cells, 0, 0, 0};
    if (ask.topic == PlainTopic::cells) ask.count = static_cast<std::uint8_t>(1 + dice.up_to(cells - 1));
    controller.plan.push_back(entry_of(ask, controller.plan.size()));
  }
  const auto frame = 14 * 11 * static_cast<Nanos>(second / made.bus.line.baud);
  controller.time_out = static_cast<Nanos>(chain.nodes.size() + 1) * frame * dice.between(50, 150) / 100 +
                        dice.between(1, 100) * millisecond;
  controller.retries = static_cast<std::uint32_t>(1 + dice.up_to(2));
  controller.back_off = {dice.between(0, 60) * millisecond, static_cast<std::uint32_t>(1 + dice.up_to(2)),
                         100 * millisecond, 0};
  controller.on_late = static_cast<OnLate>(dice.up_to(2));
  controller.gap = 4 * (long_enough(made) + second);
}

}  // namespace

QuietChain quiet_chain(std::uint64_t number) {
  Dice dice("quiet chain", number);
  QuietChain made;
  made.bus = some_bus(dice);
  ChainDescription& chain = made.chain;
  chain.name = "quiet " + std::to_string(number);
  chain.shape = dice.one_in(3) ? Shape::line : Shape::ring;
  const std::size_t kinds = 1 + dice.up_to(2);
  for (std::size_t i = 0; i < kinds; ++i)
    chain.kinds.push_back(some_kind(dice, made.bus, chain.shape, "kind" + std::to_string(i)));
  const std::size_t nodes = 1 + dice.up_to(7);
  for (std::size_t i = 0; i < nodes; ++i) {
    NodeSpec node;
    node.name = "n" + std::to_string(i + 1);
    node.kind = dice.up_to(kinds - 1);
    node.address = 1 + 3 * i + dice.up_to(2);
    if (dice.one_in(2)) node.clock = some_clock(dice);
    chain.nodes.push_back(node);
  }
  // Who passes on all that comes stops nothing.
  const Forwarding last = chain.kinds[chain.nodes.back().kind].forwarding.kind;
  const bool stops_nothing =
      last == Forwarding::electrical || (last == Forwarding::by_character && head_hidden(made.bus));
  if (stops_nothing && made.bus.role_field()) made.bus.unclaimed = Unclaimed::returns;
  chain.links.resize(chain.shape == Shape::ring ? nodes + 1 : 2 * nodes);
  for (LinkSpec& link : chain.links) link.isolator_delay = dice.one_in(2) ? dice.between(0, 5000) : 0;

  ControllerSpec& controller = chain.controller;
  controller.clock = some_clock(dice);
  if (dice.one_in(6)) controller.passes = static_cast<std::uint8_t>(1 + dice.up_to(nodes));
  const Nanos enough = long_enough(made);
  made.one_at_a_time = dice.one_in(4);
  if (made.one_at_a_time) {
    // About as long as most round trips, so that some answers are late.
    const Nanos about = static_cast<Nanos>(nodes + 1) * (12 * 11 * (second / made.bus.line.baud) + millisecond);
    controller.time_out = about * dice.between(20, 140) / 100 + dice.between(0, 20) * millisecond;
    controller.pace = 3 * enough;
  } else {
    controller.time_out = enough;
    controller.retries = static_cast<std::uint32_t>(dice.up_to(2));
    controller.back_off = {dice.between(0, 20) * millisecond, static_cast<std::uint32_t>(1 + dice.up_to(2)),
                           30 * millisecond, 0};
    controller.pace = dice.one_in(2) ? dice.between(0, 200) * millisecond : 0;
    controller.gap = dice.one_in(2) ? dice.between(0, 20) * millisecond : 0;
  }
  const std::size_t entries = 2 + dice.up_to(6);
  for (std::size_t i = 0; i < entries; ++i) {
    made.asks.push_back(some_ask(dice, chain));
    chain.controller.plan.push_back(entry_of(made.asks.back(), i));
  }
  // Nobody waits until what does not come round has reached everyone; the next frames would catch up with it.
  const bool comes_round = chain.shape == Shape::ring && made.bus.unclaimed == Unclaimed::returns;
  const bool to_everyone =
      std::any_of(made.asks.begin(), made.asks.end(), [](const PlainAsk& ask) { return !ask.node; });
  if (to_everyone && !comes_round) controller.gap += enough;
  // A node whose clock is slow knows later than the controller that an answer has passed it.
  if (made.bus.ends_by_pause())
    controller.gap += 2 * static_cast<Nanos>(made.bus.line.char_half_bits()) * (second / made.bus.line.baud);
  Dice mood("impatient chain", number);
  if (may_be_impatient(made) && mood.one_in(3)) make_impatient(mood, made);
  return made;
}

}  // namespace hopbench::reference
