// Good scenarios: that everything said in the text arrives in the structs.
#include "text/scenario.h"

#include "support/catch.h"
#include "text/bench.h"
#include "text/checked.h"
#include "text/parse.h"

using namespace hopbench;
using bench::load_good;

namespace {

const std::string head = "name: \"t\" bus: \"bench-frame\" kind { name: \"k\" }\n";
const std::string tail = "controller { poll { name: \"p\" topic: \"nameplate\" nodes: \"*\" } }\n";

std::vector<std::string> entry_names(const Scenario& scenario) {
  std::vector<std::string> names;
  for (const PlanEntry& entry : scenario.chain.controller.plan) names.push_back(entry.name);
  return names;
}

/// Indices of the links that have the marked bit error.
std::vector<std::size_t> marked_links(const Scenario& scenario) {
  std::vector<std::size_t> links;
  for (std::size_t i = 0; i < scenario.chain.links.size(); ++i) {
    if (scenario.chain.links[i].bit_error == certain / 2) links.push_back(i);
  }
  return links;
}

using Indices = std::vector<std::size_t>;

Indices links_of_hop(const std::string& shape, const std::string& hop) {
  return marked_links(load_good(head + "nodes { name: \"a\" count: 4 kind: \"k\" }\nshape: " + shape +
                                " hop { bit_error: \"0.5\" " + hop + " }\n" + tail));
}

}  // namespace

TEST_CASE("what is not said has the documented defaults") {
  const Scenario s = load_good(head + "nodes { name: \"x\" kind: \"k\" }\n" + tail);
  const ChainDescription& chain = s.chain;
  CHECK(chain.name == "t");
  CHECK(chain.seed == 1);
  CHECK(chain.run_for == 0);
  CHECK(chain.shape == Shape::ring);
  REQUIRE(chain.nodes.size() == 1);
  CHECK(chain.nodes[0].name == "x");
  CHECK(chain.nodes[0].address == 1);
  CHECK(chain.links.size() == 2);
  CHECK(chain.links[0].bit_error == 0);
  CHECK(chain.links[0].burst.mean_good == 0);
  const KindSpec& kind = chain.kinds.at(0);
  CHECK(kind.cells == 1);
  CHECK(kind.forwarding.kind == Forwarding::whole);
  CHECK(kind.forwarding.after == 200 * microsecond);
  CHECK(kind.answer_after == 500 * microsecond);
  CHECK(kind.start_up == 100 * millisecond);
  CHECK(kind.receiver.oversampling == 16);
  CHECK(kind.receiver.first_vote == 8);
  CHECK(kind.receiver.votes == 3);
  CHECK(kind.levels.level_uv == 3'300'000);
  CHECK(chain.controller.name == "controller");
  CHECK(chain.controller.time_out == 500 * millisecond);
  CHECK(chain.controller.retries == 0);
  CHECK(chain.controller.back_off.longest == never);
  CHECK(chain.controller.on_late == OnLate::match_exchange);
  CHECK(s.bus.line.baud == 38'400);
  CHECK(s.scenario_text.find("nodes { name: \"x\"") != std::string::npos);
  CHECK(s.bus_text == shipped_bus("bench-frame")->text);
}

TEST_CASE("nodes come in runs, in chain order, with addresses that count up") {
  const Scenario s = load_good(head +
                               "kind { name: \"m\" cells: 8 }\n"
                               "nodes { name: \"a\" count: 2 kind: \"k\" }\n"
                               "nodes { name: \"mid\" kind: \"m\" address: 40 clock { error: \"-0.5%\" } }\n"
                               "nodes { name: \"b\" count: 1 kind: \"k\" }\n" +
                               tail);
  REQUIRE(s.chain.nodes.size() == 4);
  const std::vector<std::string> names = {"a1", "a2", "mid", "b1"};
  const std::vector<std::uint64_t> addresses = {1, 2, 40, 41};
  const std::vector<std::size_t> kinds = {0, 0, 1, 0};
  for (std::size_t i = 0; i < 4; ++i) {
    CHECK(s.chain.nodes[i].name == names[i]);
    CHECK(s.chain.nodes[i].address == addresses[i]);
    CHECK(s.chain.nodes[i].kind == kinds[i]);
    CHECK(s.chain.nodes[i].clock.has_value() == (i == 2));
  }
  CHECK(s.chain.nodes[2].clock->error_ppb == -5'000'000);
}

TEST_CASE("a kind says everything that a node can be") {
  const Scenario s = load_good(
      "name: \"t\" bus: \"bench-frame\" nodes { name: \"x\" kind: \"k\" }\n"
      "kind { name: \"k\" cells: 12 forwarding { by_character { lag_half_bits: 3 fifo_chars: 4 } } answer_after: "
      "\"1ms\" buffer_bytes: 40\n"
      "  measurement { when: FREE_RUNNING settle: \"1ms\" snapshot: \"2ms\" per_cell: \"3us\" period: \"1s\" }\n"
      "  topics: [\"nameplate\", \"readings\"] measured_topics: \"readings\" on_bad_check: PASS_ON on_unknown_topic: "
      "REFUSE\n"
      "  enrols: true keeps_address: true start_up: \"2s\"\n"
      "  clock { error: \"40ppm\" spread: \"1%\" oscillator_hz: 8000000 oversampling: 8 divisor: 26 }\n"
      "  receiver { oversampling: 8 first_vote: 4 votes: 1 } levels { level: \"2V\" spread: \"1mV\" swing: \"7uV\" "
      "swing_period: \"1h\" } }\n" +
      tail);
  const KindSpec& kind = s.chain.kinds.at(0);
  CHECK(kind.cells == 12);
  CHECK(kind.forwarding.kind == Forwarding::by_character);
  CHECK(kind.forwarding.lag_half_bits == 3);
  CHECK(kind.forwarding.fifo_chars == 4);
  CHECK(kind.answer_after == millisecond);
  CHECK(kind.buffer_bytes == 40);
  CHECK(kind.measurement.when == MeasureWhen::free_running);
  CHECK(kind.measurement.settle == millisecond);
  CHECK(kind.measurement.snapshot == 2 * millisecond);
  CHECK(kind.measurement.per_cell == 3 * microsecond);
  CHECK(kind.measurement.period == second);
  CHECK(kind.topics == std::vector<std::string>{"nameplate", "readings"});
  CHECK(kind.measured_topics == std::vector<std::string>{"readings"});
  CHECK(kind.on_bad_check == OnBadCheck::pass_on);
  CHECK(kind.on_unknown_topic == OnUnknownTopic::refuse);
  CHECK(kind.enrols);
  CHECK(kind.keeps_address);
  CHECK(kind.start_up == 2 * second);
  CHECK(kind.clock.error_ppb == 40'000);
  CHECK(kind.clock.spread_ppb == 10'000'000);
  CHECK(kind.clock.oscillator_hz == 8'000'000);
  CHECK(kind.clock.oversampling == 8);
  CHECK(kind.clock.divisor == 26);
  CHECK(kind.receiver.oversampling == 8);
  CHECK(kind.receiver.first_vote == 4);
  CHECK(kind.receiver.votes == 1);
  CHECK(kind.levels.level_uv == 2'000'000);
  CHECK(kind.levels.spread_uv == 1'000);
  CHECK(kind.levels.swing_uv == 7);
  CHECK(kind.levels.swing_period == 3'600 * second);
}

TEST_CASE("hops of a ring by the station that they lead into") {
  // Links 0..N are hops 1..N+1 (seen/observation.h); here N is 4.
  CHECK(links_of_hop("RING", "into: \"a1\"") == Indices{0});
  CHECK(links_of_hop("RING", "into: \"a4\"") == Indices{3});
  CHECK(links_of_hop("RING", "into: \"controller\"") == Indices{4});
  CHECK(links_of_hop("RING", "into: \"a2..a3\"") == Indices{1, 2});
  CHECK(links_of_hop("RING", "into: [\"a4\", \"a1\", \"a1\"]") == Indices{0, 3});
  CHECK(links_of_hop("RING", "into: \"*\"") == Indices{0, 1, 2, 3, 4});
}

TEST_CASE("hops of a line, outward and homeward") {
  // Links 0..N-1 are hops 1..N outward, links N..2N-1 hops N..1 homeward: hop 4 homeward (link 4) leads from a4 into
  // a3.
  CHECK(links_of_hop("LINE", "into: \"a1\"") == Indices{0});
  CHECK(links_of_hop("LINE", "into: \"a4\" homeward: false") == Indices{3});
  CHECK(links_of_hop("LINE", "into: \"a3\" homeward: true") == Indices{4});
  CHECK(links_of_hop("LINE", "into: \"a1\" homeward: true") == Indices{6});
  CHECK(links_of_hop("LINE", "into: \"controller\"") == Indices{7});
  CHECK(links_of_hop("LINE", "into: \"controller\" homeward: true") == Indices{7});
  CHECK(links_of_hop("LINE", "into: \"a1..a4\" homeward: true") == Indices{4, 5, 6});
  CHECK(links_of_hop("LINE", "into: \"*\"") == Indices{0, 1, 2, 3, 4, 5, 6, 7});
  CHECK(links_of_hop("LINE", "into: \"*\" homeward: true") == Indices{4, 5, 6, 7});
  CHECK(links_of_hop("LINE", "into: \"*\" homeward: false") == Indices{0, 1, 2, 3});
}

TEST_CASE("what a hop states is laid over what every hop has") {
  const Scenario s = load_good(
      head +
      "nodes { name: \"a\" count: 3 kind: \"k\" }\n"
      "every_hop { isolator_delay: \"2us\" bit_error: \"1e-6\" open { from: \"1s\" to: \"2s\" } }\n"
      "hop { into: \"a1..a2\" bit_error: \"2%\" burst { mean_good: \"9s\" mean_bad: \"1s\" bad_bit_error: \"0.1\" } }\n"
      "hop { into: \"a2\" contact { mean_between: \"1h\" mean_open: \"5ms\" reads_low: true } open { from: \"3s\" } "
      "open { to: \"1s\" reads_low: true } }\n" +
      tail);
  const auto& links = s.chain.links;
  REQUIRE(links.size() == 4);
  for (const LinkSpec& link : links) CHECK(link.isolator_delay == 2 * microsecond);
  CHECK(links[0].bit_error == certain / 50);
  CHECK(links[1].bit_error == certain / 50);
  CHECK(links[2].bit_error == 1'000'000'000);
  CHECK(links[1].burst.mean_good == 9 * second);
  CHECK(links[1].burst.mean_bad == second);
  CHECK(links[1].burst.bad_bit_error == certain / 10);
  CHECK(links[3].burst.mean_good == 0);
  CHECK(links[1].contact.mean_between == 3'600 * second);
  CHECK(links[1].contact.mean_open == 5 * millisecond);
  CHECK(links[1].contact.reads_low);
  CHECK(links[0].contact.mean_between == 0);
  REQUIRE(links[0].opens.size() == 1);
  CHECK(links[0].opens[0].from == second);
  CHECK(links[0].opens[0].to == 2 * second);
  REQUIRE(links[1].opens.size() == 2);
  CHECK(links[1].opens[0].from == 3 * second);
  CHECK(links[1].opens[0].to == never);
  CHECK(links[1].opens[1].from == 0);
  CHECK(links[1].opens[1].to == second);
  CHECK(links[1].opens[1].reads_low);
}

TEST_CASE("faults say where, when, how often and what") {
  const Scenario s =
      load_good(head +
                "nodes { name: \"a\" count: 4 kind: \"k\" }\n"
                "fault { name: \"f1\" class: CORRUPTION into: [\"a2..a3\", \"controller\"] nodes: \"a4\" topics: "
                "\"bleed\" leg: ANSWERS from: \"1s\" to: \"2s\" rate: \"0.25\" at_most: 3 bits: 5 }\n"
                "fault { name: \"f2\" class: RESET nodes: \"a1..a2\" at: [\"2h\", \"1h\"] }\n"
                "fault { name: \"f3\" class: ADDRESS value: 9 }\n"
                "fault { name: \"f4\" class: DELAY by: \"20ms\" }\n" +
                tail);
  REQUIRE(s.chain.faults.size() == 4);
  const FaultSpec& f = s.chain.faults[0];
  CHECK(f.name == "f1");
  CHECK(f.kind == FaultClass::corruption);
  CHECK(f.links == std::vector<std::uint16_t>{1, 2, 4});
  CHECK(f.nodes == std::vector<std::uint16_t>{3});
  CHECK(f.topics == std::vector<std::string>{"bleed"});
  CHECK(f.leg == LegFilter::answers);
  CHECK(f.from == second);
  CHECK(f.to == 2 * second);
  CHECK(f.rate == certain / 4);
  CHECK(f.at_most == 3);
  CHECK(f.bits == 5);
  CHECK(s.chain.faults[1].kind == FaultClass::reset);
  CHECK(s.chain.faults[1].nodes == std::vector<std::uint16_t>{0, 1});
  CHECK(s.chain.faults[1].at == std::vector<Nanos>{3'600 * second, 7'200 * second});
  CHECK(s.chain.faults[2].value == 9);
  CHECK(s.chain.faults[2].rate == certain);
  CHECK(s.chain.faults[2].links.empty());
  CHECK(s.chain.faults[3].by == 20 * millisecond);
}

TEST_CASE("a controller says how it asks") {
  const Scenario s = load_good(
      head +
      "nodes { name: \"a\" count: 2 kind: \"k\" }\n"
      "controller { name: \"master\" time_out: \"1.5s\" retries: 3 retry_garbled_at_once: true on_late: ACCEPT\n"
      "  back_off { first: \"10ms\" times: 3 longest: \"1s\" jitter: \"2ms\" } pace: \"4s\" gap: \"5ms\" fresh_within: "
      "\"6s\" late_window: \"7s\" passes: 9\n"
      "  clock { error: \"1ppb\" } receiver { votes: 1 } enrolment { at_start: true again_after: 4 }\n"
      "  poll { name: \"p\" topic: \"nameplate\" nodes: \"a2\" every: 6 } }\n"
      "hop { into: \"master\" bit_error: \"0.5\" }\n");
  const ControllerSpec& c = s.chain.controller;
  CHECK(c.name == "master");
  CHECK(c.time_out == 1'500 * millisecond);
  CHECK(c.retries == 3);
  CHECK(c.retry_garbled_at_once);
  CHECK(c.on_late == OnLate::accept);
  CHECK(c.back_off.first == 10 * millisecond);
  CHECK(c.back_off.times == 3);
  CHECK(c.back_off.longest == second);
  CHECK(c.back_off.jitter == 2 * millisecond);
  CHECK(c.pace == 4 * second);
  CHECK(c.gap == 5 * millisecond);
  CHECK(c.fresh_within == 6 * second);
  CHECK(c.late_window == 7 * second);
  CHECK(c.passes == 9);
  CHECK(c.clock.error_ppb == 1);
  CHECK(c.receiver.votes == 1);
  CHECK(c.receiver.first_vote == 9);  // the middle of 16, where a single vote lies
  CHECK(c.enrol.at_start);
  CHECK(c.enrol.again_after == 4);
  CHECK(c.enrol.topic == "enrol");
  REQUIRE(c.plan.size() == 1);
  CHECK(c.plan[0].name == "p/a2");
  CHECK(c.plan[0].node == 1);
  CHECK(c.plan[0].every == 6);
  CHECK(marked_links(s) == Indices{2});
}

TEST_CASE("a plan has an entry for each poll and node") {
  const std::string chain =
      "kind { name: \"m\" cells: 8 }\nnodes { name: \"a\" count: 2 kind: \"k\" }\nnodes { name: \"m\" kind: \"m\" "
      "address: 77 }\n";
  const std::string polls =
      "  poll { name: \"cells\" topic: \"readings\" nodes: \"*\" with { field: \"count\" own: CELLS } with { field: "
      "\"first\" value: 2 } }\n"
      "  poll { name: \"off\" topic: \"bleed\" to_everyone: true with { field: \"cells\" value: 0 } }\n"
      "  poll { name: \"plate\" topic: \"enrol\" nodes: [\"m\", \"a1\"] with { field: \"address\" own: ADDRESS } }\n";
  const Scenario by_poll = load_good(head + chain + "controller {\n" + polls + "}\n");
  CHECK(entry_names(by_poll) ==
        std::vector<std::string>{"cells/a1", "cells/a2", "cells/m", "off/everyone", "plate/a1", "plate/m"});
  using Arguments = std::vector<std::pair<std::string, std::uint64_t>>;
  const auto& plan = by_poll.chain.controller.plan;
  CHECK(plan[0].arguments == Arguments{{"count", 1}, {"first", 2}});
  CHECK(plan[2].arguments == Arguments{{"count", 8}, {"first", 2}});
  CHECK(plan[2].node == 2);
  CHECK(plan[3].node == 0xffff);
  CHECK(plan[3].topic == "bleed");
  CHECK(plan[5].arguments == Arguments{{"address", 77}});

  const Scenario by_node = load_good(head + chain + "controller { order: NODE_BY_NODE\n" + polls + "}\n");
  CHECK(entry_names(by_node) ==
        std::vector<std::string>{"off/everyone", "cells/a1", "plate/a1", "cells/a2", "cells/m", "plate/m"});
}

TEST_CASE("counts that follow from how much is asked for need no value") {
  const Scenario s = load_good(
      "name: \"t\" bus: \"modbus-rtu\" kind { name: \"k\" } nodes { name: \"a\" kind: \"k\" }\n"
      "controller {\n"
      "  poll { name: \"w\" topic: \"write_several\" nodes: \"*\" with { field: \"first\" value: 105 } with { field: "
      "\"count\" value: 2 } with { field: \"value\" value: 3000 } }\n"
      "  poll { name: \"s\" topic: \"write_single\" nodes: \"*\" with { field: \"first\" value: 104 } with { field: "
      "\"value\" value: 1 } }\n"
      "}\n");
  CHECK(s.chain.controller.plan.size() == 2);
  // Nothing on this bus names the exchange, so the default is not to ask for it.
  CHECK(s.chain.controller.on_late == OnLate::accept);
}

TEST_CASE("a bus can stand in the scenario, and its speed be another") {
  std::string bus = shipped_bus("old-style")->text;
  const Scenario s = load_good("name: \"t\" inline_bus {\n" + bus +
                               "}\nbaud: 4800 kind { name: \"k\" } nodes { name: \"a\" kind: \"k\" }\n"
                               "controller { poll { name: \"p\" topic: \"board\" nodes: \"*\" } }\n");
  CHECK(s.bus.name == "old-style");
  CHECK(s.bus.line.baud == 4'800);
  CHECK(s.bus_text.empty());
}

TEST_CASE("scenario and bus texts together load again to the same") {
  const Scenario first = load_good(bench::good);
  std::vector<Problem> problems;
  const auto again = load_scenario({"stored", first.scenario_text}, stored_bus(first.bus_text), problems);
  REQUIRE(again);
  CHECK(again->scenario_text == first.scenario_text);
  CHECK(again->bus_text == first.bus_text);
  CHECK(again->chain.nodes.size() == first.chain.nodes.size());
}

TEST_CASE("comments, commas, semicolons and angle brackets do no harm") {
  load_good("# a comment, with \xc3\xa4\n" + bench::good);
  std::string text = bench::spoilt("kind { name: \"single\" }", "kind: < name: 'single'; cells: 0x4, >");
  CHECK(load_good(text).chain.kinds.at(0).cells == 4);
}

TEST_CASE("every scenario in the source tree is good") {
  for (const char* name : {"ring16", "mixed", "modbus-ring", "line"}) {
    INFO(name);
    std::string why;
    const auto file = read_text_file(HOPBENCH_SOURCE_DIR "/captures/" + std::string{name} + ".txtpb", why);
    REQUIRE(file);
    const Checked checked = check_file(*file);
    for (const Problem& problem : checked.problems) UNSCOPED_INFO(render(problem));
    CHECK(checked.problems.empty());
    CHECK(checked.what_it_is.find("scenario " + std::string{name}) == 0);
  }
}

TEST_CASE("the reference ring is the ring of the paper calculation") {
  std::string why;
  const auto file = read_text_file(HOPBENCH_SOURCE_DIR "/captures/ring16.txtpb", why);
  REQUIRE(file);
  const Scenario s = load_good(file->text);
  CHECK(s.chain.run_for / s.chain.controller.pace == 5'000'000);
  CHECK(s.bus.line.baud == 9'600);
  CHECK(s.bus.line.char_half_bits() == 20);
  CHECK(s.bus.framing.size_plus == 12);
  std::uint32_t payload_bits = 0;
  for (const LayoutItem& item : s.bus.topics.at(0).answer) payload_bits += item.field->bits;
  CHECK(payload_bits == 8 * 8);
  CHECK(s.bus.topics.at(0).ask.empty());
  CHECK(s.chain.links.size() == 17);
  for (const LinkSpec& link : s.chain.links) CHECK(link.bit_error == 1'000'000'000);
  CHECK(entry_names(s).front() == "cell/n1");
  CHECK(entry_names(s).back() == "cell/n16");
}

TEST_CASE("scenarios and buses are told apart") {
  CHECK(kind_of({"x", bench::good}) == TextKind::scenario);
  CHECK(kind_of({"x", ""}) == TextKind::scenario);
  std::string bus = shipped_bus("bench-frame")->text;
  CHECK(kind_of({"x", bus}) == TextKind::bus);
  bus.erase(0, bus.find('\n'));  // without its header line
  CHECK(kind_of({"x", bus}) == TextKind::bus);
  CHECK(kind_of({"x", "name: \"controller\" topic {"}) == TextKind::bus);
  CHECK(kind_of({"x", "\n# hello\n#  proto-message:  Bus \n" + bench::good}) == TextKind::bus);
  CHECK(kind_of({"x", "# proto-message: hopbench.text.Scenario\ntopic {}"}) == TextKind::scenario);
}
