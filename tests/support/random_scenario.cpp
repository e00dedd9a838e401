#include "support/random_scenario.h"

#include <string>

#include "scenario/link_table.h"
#include "support/buses.h"
#include "support/dice.h"

namespace hopbench {
namespace {

BusDescription some_bus(Dice& dice) {
  BusDescription bus;
  switch (dice.up_to(3)) {
    case 0:
      bus = buses::modbus_rtu();
      break;
    case 1:
      bus = buses::old_style();
      break;
    default:
      bus = buses::bench_frame();
      break;
  }
  constexpr std::uint32_t bauds[] = {2400, 9600, 19200, 38400, 57600, 115200};
  bus.line.baud = bauds[dice.up_to(5)];
  if (dice.one_in(3)) bus.line.parity = dice.one_in(2) ? Parity::even : Parity::odd;
  if (dice.one_in(4)) bus.line.stop_half_bits = static_cast<std::uint32_t>(3 + dice.up_to(1));
  return bus;
}

KindSpec some_kind(Dice& dice, const std::string& name, bool bench) {
  KindSpec kind;
  kind.name = name;
  kind.cells = dice.one_in(2) ? 1 : static_cast<std::uint32_t>(4 + dice.up_to(12));
  if (dice.one_in(4)) {
    kind.forwarding.kind = Forwarding::by_character;
    kind.forwarding.lag_half_bits = static_cast<std::uint32_t>(1 + dice.up_to(20));
    kind.forwarding.fifo_chars = static_cast<std::uint32_t>(8 + dice.up_to(10));
  } else if (dice.one_in(5)) {
    kind.forwarding.kind = Forwarding::electrical;
    kind.forwarding.delay = dice.between(50, 3000);
  } else {
    kind.forwarding.after = dice.between(20, 2000) * microsecond;
  }
  kind.answer_after = dice.between(50, 5000) * microsecond;
  if (dice.one_in(6)) kind.buffer_bytes = static_cast<std::uint32_t>(10 + dice.up_to(20));
  if (dice.one_in(3)) {
    kind.measurement.settle = dice.between(0, 5) * millisecond;
    kind.measurement.snapshot = dice.between(0, 10) * millisecond;
    kind.measurement.per_cell = dice.between(0, 6) * millisecond;
    if (dice.one_in(2)) {
      kind.measurement.when = MeasureWhen::free_running;
      kind.measurement.period = dice.between(1, 2000) * millisecond;
    }
  }
  if (dice.one_in(3)) kind.on_bad_check = dice.one_in(2) ? OnBadCheck::pass_on : OnBadCheck::refuse;
  if (dice.one_in(2)) kind.on_unknown_topic = OnUnknownTopic::refuse;
  if (bench && dice.one_in(5)) kind.topics = {"readings", "nameplate", "enrol"};
  if (bench && dice.one_in(6)) {
    kind.enrols = true;
    kind.keeps_address = dice.one_in(2);
  }
  kind.start_up = dice.between(1, 200) * millisecond;
  kind.clock.error_ppb = dice.one_in(3) ? dice.between(-30'000'000, 30'000'000) : dice.between(-5'000'000, 5'000'000);
  if (dice.one_in(3)) kind.clock.spread_ppb = dice.between(0, 20'000'000);
  if (dice.one_in(4)) {
    kind.receiver.oversampling = 8;
    kind.receiver.first_vote = 4;
  }
  return kind;
}

LinkSpec some_line(Dice& dice) {
  LinkSpec link;
  link.isolator_delay = dice.one_in(2) ? dice.between(0, 5000) : 0;
  constexpr Ppq rates[] = {0, 1'000'000'000, 100'000'000'000, 1'000'000'000'000, 5'000'000'000'000};
  link.bit_error = rates[dice.up_to(4)];
  if (dice.one_in(4))
    link.burst = {dice.between(50, 2000) * millisecond, dice.between(1, 60) * millisecond,
                  certain / (2 + dice.up_to(20))};
  if (dice.one_in(5))
    link.contact = {dice.between(50, 3000) * millisecond, dice.between(1, 50'000) * microsecond, dice.one_in(2)};
  if (dice.one_in(8)) link.opens = {{dice.between(0, 5) * second, dice.between(5, 9) * second, dice.one_in(2)}};
  return link;
}

FaultSpec some_fault(Dice& dice, const std::string& name, std::size_t links, std::size_t nodes) {
  FaultSpec fault;
  fault.name = name;
  fault.kind = static_cast<FaultClass>(dice.up_to(9));
  if (dice.one_in(2)) fault.links = {static_cast<std::uint16_t>(dice.up_to(links - 1))};
  if (dice.one_in(3)) fault.nodes = {static_cast<std::uint16_t>(dice.up_to(nodes - 1))};
  if (dice.one_in(3)) fault.leg = dice.one_in(2) ? LegFilter::asks : LegFilter::answers;
  if (dice.one_in(3)) fault.from = dice.between(0, 3) * second;
  fault.rate = certain / (1 + dice.up_to(20));
  if (dice.one_in(3)) fault.at_most = 1 + dice.up_to(20);
  fault.bits = static_cast<std::uint32_t>(1 + dice.up_to(4));
  fault.by = dice.between(0, 300) * millisecond;
  fault.value = dice.up_to(255);
  if (fault.kind == FaultClass::reset)
    fault.at = {dice.between(0, 2000) * millisecond, dice.between(3000, 6000) * millisecond};
  return fault;
}

}  // namespace

RandomScenario random_scenario(std::uint64_t number) {
  Dice dice("random scenario", number);
  RandomScenario made;
  made.bus = some_bus(dice);
  const bool bench = made.bus.name == "bench-frame";
  ChainDescription& chain = made.chain;
  chain.name = "random " + std::to_string(number);
  chain.shape = dice.one_in(3) ? Shape::line : Shape::ring;
  const std::size_t kinds = 1 + dice.up_to(2);
  for (std::size_t i = 0; i < kinds; ++i) chain.kinds.push_back(some_kind(dice, "kind" + std::to_string(i), bench));
  const std::size_t nodes = 1 + dice.up_to(6);
  for (std::size_t i = 0; i < nodes; ++i) {
    NodeSpec node;
    node.name = "n" + std::to_string(i + 1);
    node.kind = dice.up_to(kinds - 1);
    node.address = i + 1;
    chain.nodes.push_back(node);
  }
  const LinkSpec quiet;
  for (std::size_t i = 0; i < LinkTable(chain.shape, nodes).size(); ++i) {
    chain.links.push_back(dice.one_in(3) ? some_line(dice) : quiet);
  }
  const std::uint64_t faults = dice.one_in(2) ? dice.up_to(3) : 0;
  for (std::uint64_t i = 0; i < faults; ++i) {
    chain.faults.push_back(some_fault(dice, "fault" + std::to_string(i), chain.links.size(), nodes));
  }

  ControllerSpec& controller = chain.controller;
  controller.time_out = dice.between(5, 300) * millisecond;
  controller.retries = static_cast<std::uint32_t>(dice.up_to(3));
  controller.back_off = {dice.between(0, 20) * millisecond, static_cast<std::uint32_t>(1 + dice.up_to(2)),
                         200 * millisecond, dice.between(0, 10) * millisecond};
  controller.retry_garbled_at_once = dice.one_in(3);
  controller.on_late = static_cast<OnLate>(dice.up_to(2));
  controller.pace = dice.between(0, 100) * millisecond;
  controller.gap = dice.between(0, 20) * millisecond;
  if (dice.one_in(2)) controller.fresh_within = dice.between(1, 1500) * millisecond;
  if (dice.one_in(3)) controller.late_window = dice.between(1, 300) * millisecond;
  controller.enrol.at_start = true;
  controller.enrol.again_after = static_cast<std::uint32_t>(dice.up_to(3));
  for (std::size_t i = 0; i < nodes; ++i) {
    PlanEntry entry;
    entry.node = static_cast<std::uint16_t>(i);
    entry.name = "poll/" + chain.nodes[i].name;
    if (bench) {
      entry.topic = dice.one_in(4) ? "line_health" : "readings";
      entry.arguments = {{"first", 0}, {"count", chain.kinds[chain.nodes[i].kind].cells}};
    } else if (made.bus.name == "modbus-rtu") {
      entry.topic = "read_holding";
      entry.arguments = {{"first", 0}, {"count", chain.kinds[chain.nodes[i].kind].cells}};
    } else {
      entry.topic = dice.one_in(3) ? "board" : "cell";
      entry.arguments = {{"cell", dice.up_to(3)}};
    }
    if (dice.one_in(4)) entry.every = 1 + dice.up_to(3);
    controller.plan.push_back(entry);
  }
  controller.plan.front().every = 1;
  if (dice.one_in(3)) {
    PlanEntry all;
    all.name = "bleed/everyone";
    all.topic = bench || made.bus.name == "old-style" ? "bleed" : "write_single";
    all.arguments = {{"cells", dice.up_to(15)}, {"first", 104}, {"value", 3}};
    controller.plan.push_back(all);
  }
  return made;
}

void give_flaw(RandomScenario& scenario, std::uint64_t number) {
  Dice dice("random scenario, flaw", number);
  ChainDescription& chain = scenario.chain;
  const BusDescription& bus = scenario.bus;
  KindSpec& kind = chain.kinds[chain.nodes[dice.up_to(chain.nodes.size() - 1)].kind];
  FlawSpec& flaw = kind.flaw;
  const bool numbered = !bus.roles.exchange.empty();
  do {
    flaw.mistake = static_cast<Flaw>(1 + dice.up_to(12));
  } while (!numbered && (flaw.mistake == Flaw::repeats_number || flaw.mistake == Flaw::number_bits));
  switch (flaw.mistake) {
    case Flaw::forgets_topic:
      flaw.name = chain.controller.plan[dice.up_to(chain.controller.plan.size() - 1)].topic;
      kind.forwarding.kind = Forwarding::whole;
      break;
    case Flaw::number_bits:
      flaw.value = 1 + dice.up_to(7);
      break;
    case Flaw::address_bits:
      flaw.value = 1 + dice.up_to(2);
      break;
    case Flaw::rewrites_field:
    case Flaw::remakes_checks:
      flaw.name = "revision";
      kind.forwarding.kind = Forwarding::whole;
      break;
    case Flaw::acts_again_after:
      flaw.after = dice.between(1, 3000) * millisecond;
      break;
    case Flaw::answers_unknown_topic:
      if (bus.name == "bench-frame") kind.topics = {"nameplate", "enrol"};
      if (bus.name == "old-style") kind.topics = {"bleed"};
      break;
    case Flaw::hangs_above_bytes:
      flaw.value = 8 + dice.up_to(30);
      break;
    default:
      break;
  }
}

}  // namespace hopbench
