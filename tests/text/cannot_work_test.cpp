// Scenarios whose text is right and that cannot work all the same: errors, and warnings where somebody may want it so.
#include <algorithm>

#include "text/bench.h"

using namespace hopbench;
using bench::load;

namespace {

/// A scenario in pieces, so that each can be spoilt.
struct Pieces {
  std::string kind = "kind { name: \"k\" }";
  std::string nodes = "nodes { name: \"n\" count: 3 kind: \"k\" }";
  std::string more = "";
  std::string controller = "time_out: \"1s\"";
  std::string poll = "poll { name: \"p\" topic: \"readings\" nodes: \"*\" with { field: \"count\" own: CELLS } }";
  std::string name = "name: \"t\"";
  std::string bus = "bus: \"bench-frame\"";
};

std::string text_of(const Pieces& pieces) {
  return pieces.kind + "\n" + pieces.nodes + "\n" + pieces.more + "\ncontroller { " + pieces.controller + "\n" +
         pieces.poll + " }\n" + pieces.name + "\n" + pieces.bus + "\n";
}

/// What a bus of these parts says, with one topic that reads cells in `cell`.
std::string small_bus(const std::string& line, const std::string& framing, const std::string& header,
                      const std::string& roles, const std::string& cell, const std::string& check) {
  return "inline_bus { name: \"small\" line { baud: 9600 format: \"" + line + "\" }\nframing { " + framing + " }\n" +
         header + "\npart { payload {} }\n" + check + "\nroles { " + roles +
         " }\n"
         "topic { name: \"readings\" code: 1 changes: false ask { " +
         cell.substr(0, cell.find('|')) + " }\nanswer { group { name: \"cells\" to_end: true " +
         cell.substr(cell.find('|') + 1) + " } }\ncount_field: \"count\" values_group: \"cells\" } }";
}

const std::string cobs = "kind: COBS max_bytes: 60";
const std::string to = "part { field { name: \"to\" } } part { field { name: \"topic\" } }";
const std::string by_pending = "destination: \"to\" topic: \"topic\" tell_role: BY_PENDING_ASK broadcast: 255";
const std::string cells = "field { name: \"count\" }|field { name: \"mv\" bits: 16 quantity: \"cell_mv\" }";
const std::string crc = "part { check { name: \"crc\" crc { poly: 0x1021 } } }";

struct Case {
  const char* name;
  std::string text;
  Severity severity;
  std::string at;  // where it is told: the place where this first stands in the text
  std::vector<std::string> words;
};

Pieces with(std::string Pieces::*piece, std::string text) {
  Pieces pieces;
  pieces.poll =
      "poll { name: \"p\" topic: \"readings\" nodes: \"*\" with { field: \"first\" value: 0 } with { field: \"count\" "
      "own: CELLS } }";
  pieces.*piece = std::move(text);
  return pieces;
}

std::string on(const std::string& bus, const std::string& kind = "kind { name: \"k\" }",
               const std::string& nodes = "nodes { name: \"n\" count: 3 kind: \"k\" }") {
  Pieces pieces;
  pieces.kind = kind;
  pieces.nodes = nodes;
  pieces.bus = bus;
  return text_of(pieces);
}

void check_cases(const std::vector<Case>& cases) {
  for (const Case& each : cases) {
    const bench::Loaded loaded = load(each.text);
    INFO(each.name << "\n" << loaded.shown);
    CHECK(loaded.scenario.has_value() == (each.severity == Severity::warning));
    const std::size_t place = each.text.find(each.at);
    REQUIRE(place != std::string::npos);
    const auto before = std::string_view{each.text}.substr(0, place);
    const auto line = 1 + std::count(before.begin(), before.end(), '\n');
    const std::size_t column = place - (before.rfind('\n') + 1) + 1;
    bool found = false;
    for (const Problem& problem : loaded.problems) {
      bool same = problem.severity == each.severity && problem.line == line &&
                  static_cast<std::size_t>(problem.column) == column;
      for (const std::string& word : each.words) same = same && problem.what.find(word) != std::string::npos;
      found = found || same;
    }
    CHECK(found);
    CHECK(loaded.problems.size() == 1);
  }
}

std::string poll(const std::string& topic, const std::string& rest) {
  return "poll { name: \"p\" topic: \"" + topic + "\" " + rest + " }";
}

}  // namespace

TEST_CASE("the pieces that these tests spoil work") {
  for (const std::string& text :
       {text_of(with(&Pieces::name, "name: \"t\"")), on(small_bus("8N1", cobs, to, by_pending, cells, crc)),
        on(small_bus("8N1", cobs, to, by_pending, cells, crc), "kind { name: \"k\" cells: 16 }")}) {
    const bench::Loaded loaded = load(text);
    INFO(loaded.shown);
    CHECK(loaded.scenario);
    CHECK(loaded.problems.empty());
  }
}

TEST_CASE("fields that are too narrow for what they should say") {
  using enum Severity;
  const auto mv = [](const std::string& field) {
    return on(small_bus("8N1", cobs, to, by_pending, "field { name: \"count\" }|" + field, crc));
  };
  check_cases({
      {"a cell in 8 bits of a millivolt",
       mv("field { name: \"mv\" quantity: \"cell_mv\" }"),
       error,
       "field { name: \"mv\"",
       {"8 bits hold 0 to 255 mV", "cell_mv is 1000 to 4350 mV"}},
      {"a cell that is above what 8 bits of 10 mV hold",
       mv("field { name: \"mv\" scale { num: 10 } quantity: \"cell_mv\" }"),
       error,
       "\"readings\" nodes",
       {"mv of readings holds 0 to 2550 mV", "n1 has 3300 mV", "told as 2550", "1 bit more would do"}},
      {"a node with cells beyond its mask",
       text_of([] {
         Pieces pieces = with(&Pieces::kind, "kind { name: \"k\" cells: 16 bleed { resistor: \"33ohm\" } }");
         pieces.poll = poll("orders", "nodes: \"n1\" with { field: \"cells\" value: 1 }");
         pieces.controller = "time_out: \"1s\" balancing { every: \"1min\" start: \"3.3V\" topic: \"orders\" }";
         pieces.bus =
             "inline_bus { name: \"small\" framing { " + cobs + " } " + to + " part { payload {} } roles { " +
             by_pending +
             " } topic { name: \"orders\" code: 4 ask { field { name: \"cells\" quantity: \"bleed_mask\" } } } }";
         return pieces;
       }()),
       error,
       "\"orders\" }",
       {"the field cells of orders holds 0 to 255", "a bit for each of the 16 cells of n1"}},
      {"more cells than a count can say",
       on(small_bus("8N1", cobs, to, by_pending,
                    "field { name: \"pad\" bits: 4 constant: 0 } } ask { field { name: \"count\" bits: 4 }|"
                    "field { name: \"mv\" bits: 16 quantity: \"cell_mv\" }",
                    crc),
          "kind { name: \"k\" cells: 16 }"),
       error,
       "CELLS }",
       {"n1 has 16 cells", "count of the ask holds 0 to 15"}},
      {"an address for which the sender's field is too narrow",
       on(small_bus("8N1", cobs,
                    "part { field { name: \"to\" } } part { field { name: \"topic\" bits: 4 } } part { field { name: "
                    "\"from\" "
                    "bits: 4 } }",
                    by_pending + " source: \"from\"", cells, crc),
          "kind { name: \"k\" }", "nodes { name: \"n\" count: 3 kind: \"k\" address: 14 }"),
       error,
       "14 }",
       {"n3 gets address 16", "from of the bus small, in which it answers, holds 0 to 15"}},
      {"a sender's field on a bus of distances",
       on(
           [] {
             std::string bus =
                 small_bus("8N1", cobs,
                           "part { field { name: \"steps\" } } part { field { name: \"topic\" bits: 4 } } part { "
                           "field { name: \"from\" bits: 4 } }",
                           "distance: \"steps\" source: \"from\" controller_address: 15 topic: \"topic\" "
                           "tell_role: BY_POSITION",
                           cells, crc);
             bus.insert(bus.find("topic { name"), "forward { rewrite { field: \"steps\" add: -1 } } ");
             return bus;
           }(),
           "kind { name: \"k\" }", "nodes { name: \"n\" count: 3 kind: \"k\" address: 14 }"),
       error,
       "14 }",
       {"n3 gets address 16", "in which it answers, holds 0 to 15"}},
      {"a serial number that all nodes share",
       text_of([] {
         Pieces pieces;
         pieces.poll = poll("plate", "nodes: \"*\"");
         pieces.bus =
             "inline_bus { name: \"small\" framing { " + cobs + " } " + to + " part { payload {} } roles { " +
             by_pending +
             " } topic { name: \"plate\" code: 4 changes: false answer { field { name: \"serial\" bits: 16 quantity: "
             "\"serial_number\" } } } }";
         return pieces;
       }()),
       warning,
       "\"plate\" nodes",
       {"serial of plate holds 0 to 65535"}},
  });
}

TEST_CASE("counts of hops for which there is no room") {
  using enum Severity;
  const auto ring_of = [](int nodes, const std::string& bits, const std::string& controller) {
    Pieces pieces;
    pieces.nodes = "nodes { name: \"n\" count: " + std::to_string(nodes) + " kind: \"k\" }";
    pieces.controller = "time_out: \"9s\" " + controller;
    pieces.bus = small_bus("8N1", cobs,
                           to + " part { field { name: \"rest\" bits: " + (bits == "4" ? "4" : "5") +
                               " constant: 0 } } part { field { name: \"ttl\" bits: " + bits + " } }",
                           by_pending + " passes_left: \"ttl\"", cells, crc);
    pieces.bus.insert(pieces.bus.find("topic { name"), "forward { rewrite { field: \"ttl\" add: -1 } } ");
    return text_of(pieces);
  };
  const auto steps = [](const std::string& bits, const std::string& address) {
    std::string bus = small_bus(
        "8N1", cobs,
        "part { field { name: \"pad\" bits: " + std::string(bits == "2" ? "6" : "4") +
            " constant: 0 } } part { field { name: \"steps\" bits: " + bits + " } } part { field { name: \"topic\" } }",
        "distance: \"steps\" controller_address: " + address + " topic: \"topic\" tell_role: BY_POSITION", cells, crc);
    bus.insert(bus.find("topic { name"), "forward { rewrite { field: \"steps\" add: -1 } } ");
    return on(bus, "kind { name: \"k\" }", "nodes { name: \"n\" count: 5 kind: \"k\" }");
  };
  check_cases({
      {"a ring beyond passes left",
       ring_of(22, "4", ""),
       error,
       "inline_bus",
       {"ttl of the bus small counts the passes", "holds 0 to 15", "22 nodes", "asks are given 22",
        "make it 5 bits wide"}},
      {"one node too many, and a way round it",
       ring_of(16, "4", ""),
       error,
       "inline_bus",
       {"asks are given 16", "or write controller { passes: 15 }"}},
      {"passes that the field cannot say", ring_of(3, "3", "passes: 9"), error, "9\n", {"holds 0 to 7, not 9"}},
      {"fewer passes than nodes on the way",
       ring_of(6, "3", "passes: 2"),
       warning,
       "\"readings\" nodes",
       {"the ask to n4..n6 has used up its passes at n3"}},
      {"a node farther than the distance can say",
       steps("2", "3"),
       error,
       "inline_bus",
       {"steps of the bus small", "holds 0 to 3", "n5 has 4 before it", "make it 3 bits wide"}},
      {"the controller in the way of a count",
       steps("4", "2"),
       error,
       "inline_bus",
       {"the distance 2 means the controller", "an ask to n3 counts down through it", "above 4"}},
  });
}

TEST_CASE("waiting that is too short") {
  using enum Severity;
  // An ask of 16 bytes at 38400 Bd takes 4.167 ms on each hop, one more for the answer; a node waits 0.2 ms to pass on.
  check_cases({
      {"for every node",
       text_of(with(&Pieces::controller, "time_out: \"5ms\"")),
       error,
       "\"5ms\"",
       {"time_out 5ms is too short for all that is asked", "an answer of n1 (readings) takes", "at least"}},
      {"for the node that measures",
       text_of([] {
         Pieces pieces =
             with(&Pieces::kind, "kind { name: \"k\" } kind { name: \"slow\" measurement { snapshot: \"200ms\" } }");
         pieces.nodes = "nodes { name: \"n\" count: 2 kind: \"k\" } nodes { name: \"s\" kind: \"slow\" }";
         pieces.controller = "time_out: \"100ms\"";
         return pieces;
       }()),
       warning,
       "\"100ms\"",
       {"time_out 100ms is too short for s", "an answer of s (readings) takes 2", "would be right"}},
      {"but retries cover it",
       text_of(with(&Pieces::controller, "time_out: \"12ms\" retries: 5")),
       warning,
       "\"12ms\"",
       {"time_out 12ms is too short for all that is asked"}},
      {"values that are old when they come",
       text_of(with(&Pieces::controller, "time_out: \"1s\" fresh_within: \"3ms\"")),
       error,
       "\"3ms\"",
       {"fresh_within 3ms is too short for all that is asked", "values of n1 (readings) are"}},
  });
}

TEST_CASE("faults that never strike") {
  using enum Severity;
  const auto fault = [](const std::string& what, const std::string& kind = "kind { name: \"k\" }",
                        const std::string& name = "name: \"t\" run_for: \"1h\"") {
    Pieces pieces = with(&Pieces::more, "fault { name: \"f\" class: " + what + " }");
    pieces.kind = kind;
    pieces.name = name;
    return text_of(pieces);
  };
  const std::string electrical = "kind { name: \"k\" cells: 2 bleed { resistor: \"33ohm\" } }";
  const std::string by_character = "kind { name: \"k\" forwarding { by_character {} } }";
  check_cases({
      {"a topic that is not asked",
       fault("LOSS topics: \"limits\""),
       warning,
       "\"limits\"",
       {"nothing of limits is asked", "in this plan"}},
      {"answers on the first hop of a ring",
       fault("LOSS leg: ANSWERS into: \"n1\""),
       error,
       "\"n1\" }",
       {"no answer passes this hop", "answers from there on", "never strikes"}},
      {"asks for a node beyond it",
       fault("LOSS leg: ASKS nodes: \"n1\" into: \"n3\""),
       error,
       "\"n3\"",
       {"no ask for n1 passes this hop"}},
      {"asks that only one to everyone would bring",
       fault("LOSS leg: ASKS into: \"controller\""),
       warning,
       "\"controller\"",
       {"no ask passes this hop", "in this plan"}},
      {"a window after the run",
       fault("LOSS from: \"2h\""),
       warning,
       "\"2h\"",
       {"begins when the run is over", "ends at 1h"}},
      {"a restart after the run", fault("RESET at: \"2h\""), warning, "\"2h\"", {"no restart falls into the run"}},
      {"a rate of nothing", fault("LOSS rate: \"0\""), warning, "\"0\"", {"rate is 0"}},
      {"more bits than the frames have",
       fault("MEMORY bits: 64 leg: ASKS"),
       warning,
       "64",
       {"bits: 64", "has 56 that it may flip"}},  // 14 bytes of ask behind a head of 7
      {"memory of nodes that never have a frame whole",
       fault("MEMORY", by_character),
       error,
       "fault {",
       {"pass frames on while they come in", "never have one whole in memory"}},
      {"memory of the first node, with answers",
       fault("MEMORY nodes: \"n1\" leg: ANSWERS"),
       error,
       "\"n1\" leg",
       {"no answer is passed on by n1"}},
      {"a delay of what is passed on as it comes",
       fault("DELAY by: \"1ms\" nodes: \"n3\" leg: ASKS into: \"n3\"", by_character),
       error,
       "\"n3\" }",
       {"passed on there while they come in", "held back or altered"}},
      {"an address that stands there already",
       fault("ADDRESS value: 2 nodes: \"n2\""),
       error,
       "2 nodes",
       {"that address already"}},
      {"a payload that is not there",
       text_of([] {
         Pieces pieces =
             with(&Pieces::more, "fault { name: \"f\" class: MASQUERADE value: 1 leg: ASKS topics: \"nameplate\" }");
         pieces.poll = poll("nameplate", "nodes: \"*\"");
         return pieces;
       }()),
       warning,
       "1 leg",
       {"no payload to alter"}},
      {"two frames at once, for a controller that waits",
       fault("SEQUENCE"),
       warning,
       "fault {",
       {"needs two frames on a hop at once", "does nothing", "several asks in flight", "if by says how long"}},
      {"the same, held back", fault("SEQUENCE by: \"2ms\""), warning, "\"2ms\"", {"only delays"}},
      {"more cells than can be bled",
       fault("LOSS while_balancing: 9", electrical),
       error,
       "9 }",
       {"9 is more than the 6 cells that can be bled"}},
      {"cells that nothing bleeds", fault("LOSS while_balancing: 1"), error, "1 }", {"no kind of node can bleed"}},
      {"cells that nobody orders to be bled",
       fault("LOSS while_balancing: 2", electrical),
       warning,
       "2 }",
       {"nobody orders cells to be bled"}},
  });
  CHECK(load(fault("LOSS into: \"n2\"")).problems.empty());
  CHECK(load(fault("MEMORY nodes: \"n2\"")).problems.empty());
  CHECK(load(fault("LOSS from: \"2h\"", "kind { name: \"k\" }", "name: \"t\"")).problems.empty());  // no end is stated
}

TEST_CASE("levels that nothing ever reaches, and room for nothing") {
  using enum Severity;
  const auto kind = [](const std::string& inside, const std::string& more = "") {
    Pieces pieces = with(&Pieces::kind, "kind { name: \"k\" " + inside + " }");
    pieces.more = more;
    return text_of(pieces);
  };
  const auto balancing = [](const std::string& inside, const std::string& more = "") {
    Pieces pieces = with(&Pieces::kind, "kind { name: \"k\" bleed { resistor: \"33ohm\" } }");
    pieces.controller = "time_out: \"1s\" balancing { every: \"1min\" " + inside + " }";
    pieces.more = more;
    return text_of(pieces);
  };
  const std::string charged =
      "battery { charge: \"50%\" } cycle { charge: \"5A\" charge_from: \"1h\" charge_for: \"4h\" absorb: \"3.45V\" }";
  // 3.3 V, 5 mV of spread and 20 mV of swing: 3.325 V at most.
  check_cases({
      {"a supply that cells never have",
       kind("supply { brown_out: \"3.9V\" }"),
       warning,
       "\"3.9V\"",
       {"n1 has 3.33V at most", "silent at once", "below 3.33V"}},
      {"a supply to start again that cells never have",
       kind("supply { brown_out: \"3.2V\" brown_in: \"3.4V\" }"),
       warning,
       "\"3.4V\"",
       {"starts again from 3.4V", "stays silent"}},
      {"the same, of eight cells",
       kind("cells: 8 supply { brown_out: \"26.3V\" }"),
       warning,
       "\"26.3V\"",
       {"n1 has 26.6V at most, from 8 cells", "starts again from 26.7V"}},
      {"balancing that starts above all cells",
       balancing("start: \"3.4V\""),
       warning,
       "\"3.4V\"",
       {"no cell has more than 3.33V"}},
      {"the same, where cells are charged no higher",
       balancing("start: \"3.5V\"", charged),
       warning,
       "\"3.5V\"",
       {"no cell has more than 3.45V"}},
      {"a board that is never cool enough",
       kind("bleed { resistor: \"33ohm\" stop_at: \"15C\" }", "air { mean: \"25C\" swing: \"5C\" }"),
       warning,
       "\"15C\"",
       {"never below 20C", "above 30C"}},
      {"room for no ask", kind("buffer_bytes: 13"), warning, "13", {"room for 13 bytes", "(readings) has 14"}},
  });
  for (const std::string& text :
       {kind("supply { brown_out: \"3.2V\" brown_in: \"3.3V\" }"), kind("cells: 8 supply { brown_out: \"26V\" }"),
        balancing("start: \"3.32V\""), balancing("start: \"3.45V\"", charged), kind("buffer_bytes: 14"),
        kind("bleed { resistor: \"33ohm\" stop_at: \"21C\" }", "air { mean: \"25C\" swing: \"5C\" }")}) {
    const bench::Loaded loaded = load(text);
    INFO(loaded.shown);
    CHECK(loaded.problems.empty());
  }
}

TEST_CASE("a fault that is over before a run begins") {
  Pieces pieces = with(&Pieces::more, "fault { name: \"f\" class: LOSS to: \"1h\" } begins { after: \"2h\" }");
  const bench::Loaded loaded = load(text_of(pieces));
  REQUIRE(loaded.problems.size() == 1);
  CHECK(loaded.problems[0].what.find("over before the run begins: it begins at 2h") != std::string::npos);
  CHECK(loaded.problems[0].severity == Severity::warning);
}

TEST_CASE("asks that come to nothing") {
  using enum Severity;
  const auto asks = [](const std::string& what, const std::string& kind = "kind { name: \"k\" }") {
    Pieces pieces = with(&Pieces::poll, what);
    pieces.kind = kind;
    return text_of(pieces);
  };
  const std::string sixteen = "kind { name: \"k\" cells: 16 }";
  const std::string short_frames = small_bus("8N1", "kind: COBS max_bytes: 20", to, by_pending, cells, crc);
  std::string in_parts = short_frames;
  in_parts.insert(in_parts.find("field { name: \"count\" }"), "field { name: \"first\" } } ask { ");
  in_parts.insert(in_parts.find("count_field:"), "first_field: \"first\" ");
  Pieces parts;
  parts.kind = sixteen;
  parts.bus = in_parts;
  parts.poll = poll("readings", "nodes: \"*\" with { field: \"first\" value: 0 } with { field: \"count\" own: CELLS }");
  check_cases({
      {"a read to everyone",
       asks(poll("nameplate", "to_everyone: true")),
       error,
       "true }",
       {"nameplate only reads", "nobody answers what is sent to everyone", "write nodes: \"*\""}},
      {"more cells than an answer has room for",
       on(short_frames, sixteen),
       error,
       "\"readings\" nodes",
       {"asks n1..n3 for 16 values each", "has room for 8 (16 bytes of payload)", "with { field: \"count\" value: 8 }",
        "no first_field", "comes empty"}},
      {"the same where it can be asked in parts",
       text_of(parts),
       error,
       "\"readings\" nodes",
       {"has room for 8", "another poll with { field: \"first\" value: 8 } for the rest"}},
      {"cells that are not there",
       asks(poll("readings", "nodes: \"n2\" with { field: \"first\" value: 1 } with { field: \"count\" value: 2 }")),
       warning,
       "\"readings\" nodes",
       {"asks for cells 1 to 2, and n2 has cell 0", "refuses it each time"}},
      {"a topic that a kind does not know",
       asks(poll("limits", "nodes: \"*\" with { field: \"low\" value: 2500 } with { field: \"high\" value: 3600 }"),
            "kind { name: \"k\" topics: \"readings\" }"),
       warning,
       "\"limits\" nodes",
       {"n1..n3 do not know the topic limits (kind k: topics)", "dropped"}},
      {"an offer of the controller's address",
       asks(poll("enrol", "nodes: \"n1\" with { field: \"address\" value: 0 }")),
       error,
       "\"enrol\" nodes",
       {"enrol offers the address 0", "means the controller"}},
      {"an offer of everyone's address",
       asks(poll("enrol", "nodes: \"n1\" with { field: \"address\" value: 255 }")),
       error,
       "\"enrol\" nodes",
       {"offers the address 255", "means everyone"}},
      {"one address for all",
       asks(poll("enrol", "to_everyone: true with { field: \"address\" value: 7 }")),
       error,
       "true with",
       {"several nodes would take it"}},
      {"limits the wrong way round",
       asks(poll("limits", "nodes: \"n1\" with { field: \"low\" value: 3600 } with { field: \"high\" value: 2500 }")),
       warning,
       "\"limits\" nodes",
       {"low limit of 3600 mV above the high limit of 2500 mV"}},
      {"an order to bleed for a kind that cannot",
       asks(poll("bleed", "nodes: \"n1\" with { field: \"cells\" value: 1 }")),
       warning,
       "\"bleed\" nodes",
       {"n1 cannot bleed (kind k has no bleed", "refuses it each time"}},
      {"an order to bleed cells that are not there",
       asks(poll("bleed", "nodes: \"n1\" with { field: \"cells\" value: 6 }"),
            "kind { name: \"k\" cells: 2 bleed { resistor: \"33ohm\" } }"),
       warning,
       "\"bleed\" nodes",
       {"names cells that n1 does not have", "2 in all, bits 0 to 1"}},
      {"nodes that nobody gives an address",
       asks(poll("nameplate", "nodes: \"*\""), "kind { name: \"k\" enrols: true }"),
       warning,
       "true }",
       {"no address until somebody offers one", "at_start: true"}},
      {"balancing of a kind that cannot bleed",
       text_of(with(&Pieces::controller, "time_out: \"1s\" balancing { every: \"1min\" }")),
       warning,
       "balancing {",
       {"n1..n3 cannot bleed (kind k"}},
      {"a node that is asked on a bus without addresses",
       on(small_bus("8N1", cobs, "part { field { name: \"topic\" } }", "topic: \"topic\" tell_role: BY_PENDING_ASK",
                    cells, crc)),
       error,
       "\"readings\" nodes",
       {"n1 takes what is meant for n2, n3", "roles.destination or distance"}},
      {"an ask that comes round and passes for its answer",
       on("inline_bus { name: \"small\" framing { " + cobs + " } " + to + " part { payload {} } " + crc + " roles { " +
              by_pending +
              " } topic { name: \"readings\" code: 1 changes: false ask { field { name: \"count\" } } "
              "answer { field { name: \"count\" copied_from_ask: \"count\" } } } }",
          "kind { name: \"k\" forwarding { electrical {} } }"),
       error,
       "\"readings\" nodes",
       {"goes on round the ring", "takes it for that"}},
      {"an answer that a fixed length fills up",
       on(small_bus("8N1", "kind: FIXED fixed_bytes: 12 abandon_char_tenths: 50", to, by_pending, cells, crc)),
       error,
       "\"readings\" nodes",
       {"does not read the answer of readings from n1..n3 as it was filled in", "filled up to fixed_bytes"}},
      {"votes on the edge of a bit",
       asks(poll("nameplate", "nodes: \"*\""), "kind { name: \"k\" receiver { first_vote: 14 } }"),
       warning,
       "14 }",
       {"of 16 samples a bit, votes 14 to 16 touch the edge", "first_vote can be 2 to 13"}},
  });
}

TEST_CASE("a line of seven bits") {
  using enum Severity;
  const std::string marked = "kind: MARKED start: \"\\x3a\" end: \"\\r\\n\"";
  const std::string as_text =
      "part { field { name: \"to\" bits: 16 digits: HEX_TEXT } } part { field { name: \"topic\" } }";
  const std::string text_cells =
      "field { name: \"count\" bits: 16 digits: HEX_TEXT }|field { name: \"mv\" bits: 32 digits: DECIMAL_TEXT "
      "quantity: "
      "\"cell_mv\" }";
  // All of these are true buses of seven bits.
  for (const std::string& bus : {
           small_bus("7E1", marked + " hex_text: true", to, by_pending, cells, crc),
           small_bus("7E1", marked, as_text, by_pending, text_cells, ""),
           small_bus("7O2", "kind: COBS max_bytes: 60", as_text, by_pending, text_cells,
                     "part { check { name: \"lrc\" kind: EXCLUSIVE_OR } }"),
           small_bus("7E1", "kind: COBS max_bytes: 60", as_text, by_pending, text_cells,
                     "part { check { name: \"sum\" kind: SUM bits: 7 } }"),
           small_bus("7E1", "kind: HDLC", as_text, by_pending, text_cells,
                     "part { check { name: \"crc\" crc { width: 7 poly: 0x09 } } }"),
           small_bus(
               "7E1", cobs,
               "part { field { name: \"zero\" bits: 1 constant: 0 } } part { field { name: \"to\" bits: 7 } } part { "
               "field { name: \"topic\" } }",
               "destination: \"to\" topic: \"topic\" tell_role: BY_PENDING_ASK broadcast: 127", text_cells, ""),
       }) {
    const bench::Loaded loaded = load(on(bus));
    INFO(bus << "\n" << loaded.shown);
    CHECK(loaded.scenario);
    CHECK(loaded.problems.empty());
  }
  const std::string only_seven = "carries only 7 bits";
  check_cases({
      {"an address of eight bits",
       on(small_bus("7E1", cobs, "part { field { name: \"to\" } } part { field { name: \"topic\" } }", by_pending,
                    text_cells, "")),
       error,
       "field { name: \"to\"",
       {"\"to\" has an 8th bit", only_seven, "make it 7 bits behind a constant 0 of 1"}},
      {"a reading of sixteen bits",
       on(small_bus(
           "7E1", cobs, as_text, by_pending,
           "field { name: \"count\" bits: 16 digits: HEX_TEXT }|field { name: \"mv\" bits: 16 quantity: \"cell_mv\" }",
           "")),
       error,
       "field { name: \"mv\"",
       {"\"mv\" has an 8th bit", only_seven, "write it as text"}},
      {"a sum of eight bits",
       on(small_bus("7E1", cobs, as_text, by_pending, text_cells, "part { check { name: \"sum\" kind: SUM } }")),
       error,
       "check {",
       {"\"sum\" has an 8th bit", "a sum of 7 bits"}},
      {"a code beyond 127",
       on([&] {
         std::string bus = small_bus("7E1", cobs, as_text, by_pending, text_cells, "");
         return bus.replace(bus.find("code: 1"), 7, "code: 0x91");
       }()),
       error,
       "0x91",
       {"\"topic\" is sent with an 8th bit", "choose a value without it"}},
      {"a marker beyond 127",
       on(small_bus("7E1", "kind: MARKED hex_text: true start: \"\\x81\" end: \"\\r\"", to, by_pending, cells, "")),
       error,
       "\"\\x81",
       {"the marker has the byte 81", only_seven}},
      {"a framing that needs eight bits",
       on(small_bus("7E1", "kind: SLIP", as_text, by_pending, text_cells, "")),
       error,
       "SLIP",
       {"SLIP ends frames with c0", only_seven}},
      {"stuffing that counts beyond 127",
       on(small_bus("7E1", "kind: COBS max_bytes: 200", as_text, by_pending, text_cells, "")),
       error,
       "200 }",
       {"COBS sends the length", "write max_bytes: 126 or less"}},
      {"text on a line of five bits",
       on(small_bus("5N1", "kind: MARKED start: \"\\x02\" end: \"\\x03\" hex_text: true", to, by_pending, cells, "")),
       error,
       "true }",
       {"hexadecimal digits as text go up to 46", "carries only 5 bits"}},
  });
}

TEST_CASE("content that can look like a marker is warned of") {
  const std::string lrc = "part { check { name: \"lrc\" kind: EXCLUSIVE_OR } }";
  const auto marked = [&](const std::string& markers, const std::string& cell) {
    return load(on(small_bus("8N1", "kind: MARKED abandon_char_tenths: 100 " + markers, to, by_pending, cell, lrc)));
  };
  const bench::Loaded one = marked("start: \"\\x02\" end: \"\\xf7\"", cells);
  INFO(one.shown);
  CHECK(one.scenario);
  REQUIRE(one.problems.size() == 1);
  CHECK(one.problems[0].severity == Severity::warning);
  CHECK(one.problems[0].what.find("a value of f7 in to, count, lrc or mv looks like the end marker") == 0);

  // Two bytes in a row, in one value or where two meet.
  const bench::Loaded two = marked("start: \"\\x02\" end: \"\\x0d\\x0a\"", cells);
  REQUIRE(two.problems.size() == 1);
  CHECK(two.problems[0].what.find("a value of 0d 0a in count") == 0);

  const bench::Loaded start = marked("start: \"\\xf7\"", cells);
  REQUIRE(start.problems.size() == 1);
  CHECK(start.problems[0].what.find("looks like the next start marker") != std::string::npos);
}

TEST_CASE("a recorded scenario need not work") {
  const std::string text =
      on(small_bus("8N1", "kind: COBS max_bytes: 20", to, by_pending, cells, crc), "kind { name: \"k\" cells: 16 }");
  std::vector<Problem> problems;
  CHECK_FALSE(load_scenario({"s", text}, stored_bus(""), problems));
  problems.clear();
  CHECK(load_recorded({"s", text}, stored_bus(""), problems));
  CHECK(problems.empty());
}

TEST_CASE("warnings beyond a hundred are counted, and no file is refused for them") {
  std::string faults;
  for (int i = 0; i < 150; ++i) faults += "fault { name: \"f" + std::to_string(i) + "\" class: LOSS rate: \"0\" } ";
  const bench::Loaded loaded = load(text_of(with(&Pieces::more, faults)));
  CHECK(loaded.scenario);
  CHECK(loaded.problems.size() == max_problems + 1);
  CHECK_FALSE(has_errors(loaded.problems));
  CHECK(loaded.shown.find("s.txtpb:3:") != std::string::npos);
  CHECK(loaded.shown.find(": warning: rate is 0") != std::string::npos);
  CHECK(loaded.shown.find("s.txtpb: warning: there are more warnings than are shown here") != std::string::npos);
}
