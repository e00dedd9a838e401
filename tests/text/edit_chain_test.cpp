// Paths that mean nodes and hops of the chain, whatever groups, ranges and entries they come from in the file.
#include <algorithm>

#include "bench.h"
#include "support/dice.h"
#include "support/scenario_text.h"
#include "text/edit.h"

namespace hopbench {
namespace {

using bench::load_good;

Scenario changed(const Scenario& scenario, const std::vector<Edit>& edits) {
  auto made = edited(scenario, edits, buses_beside("s.txtpb"));
  if (const auto* problem = std::get_if<EditProblem>(&made)) FAIL(render(*problem));
  return std::get<Scenario>(std::move(made));
}

EditProblem refused(const Scenario& scenario, const std::vector<Edit>& edits) {
  auto made = edited(scenario, edits, buses_beside("s.txtpb"));
  REQUIRE(std::holds_alternative<EditProblem>(made));
  return std::get<EditProblem>(made);
}

std::string got(const Scenario& scenario, const std::string& path) {
  const auto values = ScenarioTree(scenario).get(path);
  if (const auto* problem = std::get_if<EditProblem>(&values)) return "problem: " + problem->what;
  const auto& list = std::get<std::vector<std::string>>(values);
  REQUIRE(list.size() == 1);
  return list.front();
}

/// Every node states its clock and board, so that it does not matter where they come from.
ChainDescription spelled_out(ChainDescription chain) {
  for (NodeSpec& node : chain.nodes) {
    node.clock = node.clock.value_or(chain.kinds[node.kind].clock);
    node.board = node.board.value_or(chain.kinds[node.kind].board);
  }
  return chain;
}

/// A link by the name that a path gives it.
struct Named {
  std::string name;
  std::size_t link;
};

std::vector<Named> links_of(const ChainDescription& chain) {
  std::vector<Named> named;
  const std::size_t nodes = chain.nodes.size();
  for (std::size_t i = 0; i < nodes; ++i) named.push_back({"into " + chain.nodes[i].name, i});
  if (chain.shape == Shape::ring) {
    named.push_back({"into controller", nodes});
    return named;
  }
  // Line: N links outward, then homeward: out of the last node into the last but one, and so on into the controller.
  for (std::size_t i = nodes; i + 1 < 2 * nodes; ++i)
    named.push_back({"into " + chain.nodes[2 * nodes - 2 - i].name + " homeward", i});
  named.push_back({"into controller", 2 * nodes - 1});
  return named;
}

}  // namespace

TEST_CASE("a node is changed alone, whatever group it is of, and all others stay what they are") {
  for (std::uint64_t number = 0; number < 60; ++number) {
    Dice dice("nodes", number);
    const Scenario scenario = load_good(scenario_text(number));
    INFO(scenario.scenario_text);
    for (std::size_t i = 0; i < scenario.chain.nodes.size(); ++i) {
      ChainDescription expected = spelled_out(scenario.chain);
      const std::string path = "node[" + (dice.one_in(2) ? scenario.chain.nodes[i].name : std::to_string(i)) + "]";
      INFO(path);
      CHECK(got(scenario, path + ".address") == std::to_string(scenario.chain.nodes[i].address));
      CHECK(got(scenario, path + ".name") == scenario.chain.nodes[i].name);
      CHECK(got(scenario, path + ".kind") == scenario.chain.kinds[scenario.chain.nodes[i].kind].name);
      // What it is already.
      CHECK(spelled_out(changed(scenario, {{path + ".kind", got(scenario, path + ".kind")}}).chain) == expected);

      expected.nodes[i].clock->error_ppb = 12'345'000;
      CHECK(spelled_out(changed(scenario, {{path + ".clock.error", "12345ppm"}}).chain) == expected);
      expected = spelled_out(scenario.chain);
      expected.nodes[i].address = 200;
      CHECK(spelled_out(changed(scenario, {{path + ".address", "200"}}).chain) == expected);
    }
    ChainDescription all = spelled_out(scenario.chain);
    for (NodeSpec& node : all.nodes) node.clock->spread_ppb = 1'000'000;
    CHECK(spelled_out(changed(scenario, {{"node[*].clock.spread", "0.1%"}}).chain) == all);
    const std::string range = scenario.chain.nodes.front().name + ".." + scenario.chain.nodes.back().name;
    CHECK(spelled_out(changed(scenario, {{"node[" + range + "].clock.spread", "0.1%"}}).chain) == all);
  }
}

TEST_CASE("a condition of one hop is changed alone, wherever it comes from") {
  std::size_t parts = 0;
  for (std::uint64_t number = 0; number < 80; ++number) {
    const Scenario scenario = load_good(scenario_text(number));
    INFO(scenario.scenario_text);
    for (const Named& hop : links_of(scenario.chain)) {
      const std::string path = "hop[" + hop.name + "]";
      INFO(path);
      ChainDescription expected = scenario.chain;
      LinkSpec& link = expected.links[hop.link];
      link.bit_error = certain / 1000;
      const Scenario noisy = changed(scenario, {{path + ".bit_error", "0.1%"}});
      CHECK(noisy.chain == expected);
      CHECK(got(noisy, path + ".bit_error") == "0.1%");
      // And once more, over that, with another hop changed in between.
      link.bit_error = certain / 500;
      CHECK(changed(scenario, {{path + ".bit_error", "0.1%"},
                               {"every_hop.bit_error", "3e-7"},
                               {path + ".bit_error", "0.2%"},
                               {"every_hop.bit_error", got(scenario, "every_hop.bit_error").starts_with("problem")
                                                           ? "0"
                                                           : got(scenario, "every_hop.bit_error")}})
                .chain == expected);
      expected = scenario.chain;
      link.pulse_stretch = 2 * microsecond;
      // Shorter, on the entry for this hop alone, contradicts it; shorter from anywhere else is overridden.
      const auto longer = edited(scenario, std::vector<Edit>{{path + ".lows_longer", "2us"}}, buses_beside("s.txtpb"));
      if (const auto* problem = std::get_if<EditProblem>(&longer)) {
        CHECK(problem->what.find("not both") != std::string::npos);
      } else {
        CHECK(std::get<Scenario>(longer).chain == expected);
      }

      // A part of a condition: the rest of it stays as it holds there.
      expected = scenario.chain;
      if (link.burst.mean_good > 0) {
        link.burst.mean_bad = 123 * millisecond;
        CHECK(changed(scenario, {{path + ".burst.mean_bad", "123ms"}}).chain == expected);
        ++parts;
      }
      expected = scenario.chain;
      if (link.contact.mean_between > 0) {
        link.contact.mean_open = 7 * millisecond;
        CHECK(changed(scenario, {{path + ".contact.mean_open", "7ms"}}).chain == expected);
        ++parts;
      }
      expected = scenario.chain;
      if (link.opens.size() > 1) {
        link.opens[1].to = 9 * second;
        CHECK(changed(scenario, {{path + ".open[1].to", "9s"}}).chain == expected);
        ++parts;
      }
      CHECK(changed(noisy, {{path + ".bit_error", std::nullopt}}).chain.links[hop.link].bit_error != certain / 1000);
    }
    ChainDescription all = scenario.chain;
    for (LinkSpec& link : all.links) link.isolator_delay = 42;
    CHECK(changed(scenario, {{"hop[into *].isolator_delay", "42ns"}}).chain == all);
  }
  CHECK(parts > 100);
}

TEST_CASE("what one hop alone states can be removed, what it has from elsewhere cannot") {
  const std::string text = bench::spoilt(
      "every_hop", "hop { into: \"a2\" burst { mean_good: \"1s\" mean_bad: \"2ms\" } bit_error: \"2%\" }\nevery_hop");
  const Scenario scenario = load_good(text);
  CHECK(changed(scenario, {{"hop[into a2].bit_error", std::nullopt}}).chain.links[1].bit_error == 1'000'000'000);
  CHECK(changed(scenario, {{"hop[into a2]", std::nullopt}}).chain.links[1] == scenario.chain.links[0]);
  CHECK(refused(scenario, {{"hop[into a1].bit_error", std::nullopt}}).what == "nothing is stated there");
  CHECK(got(scenario, "hop[into a1].bit_error") == "1e-6");
  CHECK(got(scenario, "hop[into a1].burst").starts_with("problem: nothing is stated"));
}

TEST_CASE("low levels become longer on a hop although a later entry makes them shorter") {
  const Scenario scenario = load_good(bench::spoilt(
      "every_hop", "hop { into: \"a2\" bit_error: \"2%\" } hop { into: \"*\" lows_shorter: \"1us\" } every_hop"));
  const Scenario longer = changed(scenario, {{"hop[into a2].lows_longer", "2us"}});
  CHECK(longer.chain.links[1].pulse_stretch == 2 * microsecond);
  CHECK(longer.chain.links[2].pulse_stretch == -microsecond);
  CHECK(longer.chain.links[1].bit_error == scenario.chain.links[1].bit_error);
}

TEST_CASE("several are removed at once, and no other") {
  const Scenario scenario = load_good(bench::spoilt(
      "fault {",
      "fault { name: \"g\" class: LOSS } fault { name: \"h\" class: RESET at: [\"1s\", \"2s\", \"3s\"] } fault {"));
  CHECK(changed(scenario, {{"fault[*]", std::nullopt}}).chain.faults.empty());
  const Scenario less = changed(scenario, {{"fault[h].at[1]", std::nullopt}, {"fault[0]", std::nullopt}});
  REQUIRE(less.chain.faults.size() == 2);
  CHECK(less.chain.faults[0].name == "h");
  CHECK(less.chain.faults[0].at == std::vector<Nanos>{second, 3 * second});
  const Scenario fewer = changed(scenario, {{"node[a1..a2]", std::nullopt}});
  REQUIRE(fewer.chain.nodes.size() == 1);
  CHECK(fewer.chain.nodes[0].name == "a3");
}

TEST_CASE("a node can be taken out of a group; the others keep their addresses") {
  const Scenario scenario = load_good(bench::good);
  const Scenario less = changed(scenario, {{"node[a2]", std::nullopt}});
  REQUIRE(less.chain.nodes.size() == 2);
  CHECK(less.chain.nodes[0].name == "a1");
  CHECK(less.chain.nodes[1].name == "a3");
  CHECK(less.chain.nodes[1].address == 3);
}

TEST_CASE("what is there once, many times, or as one more") {
  const Scenario scenario = load_good(bench::good);
  CHECK(changed(scenario, {{"fault[+]", "{ name: \"g\" class: DELAY by: \"20ms\" }"}}).chain.faults.size() == 2);
  CHECK(changed(scenario, {{"fault", std::nullopt}}).chain.faults.empty());
  CHECK(changed(scenario, {{"fault", "[]"}}).chain.faults.empty());
  CHECK(changed(scenario, {{"fault", "[{ name: \"g\" class: LOSS }, { name: \"h\" class: LOSS }]"}})
            .chain.faults[1]
            .name == "h");
  CHECK(changed(scenario, {{"fault[f]", "{ name: \"g\" class: LOSS }"}}).chain.faults[0].name == "g");
  CHECK(changed(scenario, {{"fault[*].rate", "3%"}}).chain.faults[0].rate == certain / 100 * 3);
  CHECK(changed(scenario, {{"controller.poll[p].nodes", "[a1, \"a3\"]"}}).chain.controller.plan.size() == 2);
  CHECK(changed(scenario, {{"controller.poll[p].nodes", "a1..a2"}}).chain.controller.plan.size() == 2);
  CHECK(changed(scenario, {{"controller.poll[p].nodes[+]", "a1"}}).chain.controller.plan.size() == 3);
  CHECK(changed(scenario, {{"kind[single].forwarding.by_character", "{}"}}).chain.kinds[0].forwarding.kind ==
        Forwarding::by_character);
  CHECK(changed(scenario, {{"kind[single].forwarding.by_character.fifo_chars", "20"},
                           {"kind[single].forwarding.whole.after", "1ms"}})
            .chain.kinds[0]
            .forwarding.kind == Forwarding::whole);
  // Named like a number: the name counts.
  const Scenario numbers = load_good(bench::spoilt("kind {", "kind { name: \"1\" cells: 2 } kind {"));
  CHECK(changed(numbers, {{"kind[1].cells", "3"}}).chain.kinds[0].cells == 3);
  CHECK(changed(numbers, {{"kind[0].cells", "3"}}).chain.kinds[0].cells == 3);
}

TEST_CASE("a bus within a scenario is edited like the rest of it") {
  const std::string bus = shipped_bus("bench-frame")->text;
  const Scenario scenario = load_good(bench::spoilt("bus: \"bench-frame\"", "inline_bus {" + bus + "}"));
  CHECK(changed(scenario, {{"inline_bus.line.baud", "9600"}}).bus.line.baud == 9600);
  CHECK(got(scenario, "inline_bus.topic[readings].changes") == "false");
  CHECK(changed(scenario, {{"inline_bus.topic[readings].code", "77"}}).bus.topics[1].code == 77);
  CHECK(changed(scenario, {{"bus", "bench-frame"}, {"baud", "19200"}}).bus.line.baud == 19'200);
}

TEST_CASE("what is wrong with an edit is told in one line at its path") {
  struct Wrong {
    std::string path;
    std::optional<std::string> value;
    std::string at;  // where it is told; empty: at the path
    std::vector<std::string> words;
  };
  const Scenario scenario = load_good(bench::good);
  const std::vector<Wrong> table{
      {"", "1", "", {"the path is missing", "for example"}},
      {"controller.tim_out", "1s", "", {"Controller has no field \"tim_out\"", "did you mean time_out?"}},
      {"time_out", "1s", "", {"Scenario has no field", "did you mean controller.time_out?"}},
      {"mean_open", "1s", "", {"there are every_hop.contact.mean_open, hop[...].contact.mean_open"}},
      {"nod[a1].clock.error", "1%", "", {"did you mean node?"}},
      {"node[a1].cells", "2", "", {"its kind has one: kind[...].cells"}},
      {"node[a9].clock.error", "1%", "", {"no node \"a9\"", "did you mean a1?"}},
      {"node[a3..a1].clock.error", "1%", "", {"write a1..a3"}},
      {"node[3].clock.error", "1%", "", {"no node[3]", "there are 3"}},
      {"node.clock.error", "1%", "", {"which node? write node[a1], or node[*]"}},
      {"nodes[a2].kind", "single", "", {"no nodes \"a2\"", "did you mean a?"}},
      {"kind.cells", "2", "", {"which kind? write kind[single], or kind[*] for all"}},
      {"kind[singel].cells", "2", "", {"no kind \"singel\"", "did you mean single?"}},
      {"kind[7].cells", "2", "", {"no kind[7]", "there are 1 of them"}},
      {"kind[].cells", "2", "", {"brackets behind kind are empty"}},
      {"kind[single.cells", "2", "", {"a ] is missing"}},
      {"kind[single]cells", "2", "", {"a dot is missing before \"cells\""}},
      {"kind[single].", "2", "", {"the name of a field is missing at the end"}},
      {"kind[single]..cells", "2", "", {"the name of a field is missing before"}},
      {"kind[+].cells", "2", "", {"kind[+] is one more", "kind[+]={ ... }"}},
      {"controller[0].time_out", "1s", "", {"controller is there once: leave [0] out"}},
      {"controller.time_out.x", "1s", "", {"time_out has no fields of its own"}},
      {"controller", "5", "", {"controller takes fields in braces"}},
      {"controller.retries", "two", "", {"retries takes a whole number, not \"two\""}},
      {"controller.retries", "2 time_out: \"1s\"", "", {"retries takes a whole number"}},
      {"controller.retries", "", "", {"retries takes a whole number"}},
      {"controller.retries", "010", "", {"write \"010\" without the 0"}},
      {"controller.retries", "101", "", {"retries must be 0 to 100, not 101"}},
      {"controller.time_out", "", "", {"time_out is empty", "removed"}},
      {"controller.time_out", "200", "", {"\"200\" is no duration: the unit is missing"}},
      {"controller.time_out", "\"1s\" retries: \"2\"", "", {"more than one value"}},
      {"controller.retry_garbled_at_once", "yes", "", {"takes true or false, not \"yes\""}},
      {"controller.on_late", "IGNORE", "", {"cannot be \"IGNORE\"", "known are IGNORE_IT"}},
      {"controller.poll[p].nodes[3]", "a1", "", {"no nodes[3]", "there are 1 of them"}},
      {"controller.poll[p].nodes", "[a1, a7]", "", {"no node \"a7\""}},
      {"controller.poll[p].nodes", "[\"a1\"] nodes: [\"a2\"]", "", {"more than one value"}},
      {"controller.poll[p].every", "0", "", {"every must be 1 to"}},
      {"controller.poll[p].topic", "plates", "", {"no topic \"plates\""}},
      {"fault[f].class", "DELAY", "", {"a DELAY needs by"}},
      {"fault[f].rat", std::nullopt, "", {"Fault has no field \"rat\"", "did you mean rate?"}},
      {"fault[f].to", std::nullopt, "", {"nothing is stated there"}},
      {"fault", "{ name: \"g\" class: LOSS }", "", {"fault is a list", "fault[+]"}},
      {"fault[+]", "{ nam: \"g\" }", "", {"Fault has no field \"nam\""}},
      {"hop[a1].bit_error", "0", "", {"a hop has no name: write hop[into a1]"}},
      {"hop[into a9].bit_error", "0", "", {"no node \"a9\""}},
      {"hop[into a1 homeward].bit_error", "0", "", {"a ring has no way homeward"}},
      {"hop[into a1].into", "a2", "", {"a hop is found by into", "hop[0].into"}},
      {"hop[into a1]", "{}", "", {"takes no value as a whole", "hop[into a1].bit_error"}},
      {"hop[into a1].bit_error", "2", "", {"\"2\" is no probability"}},
      {"hop[into a1].burst.mean_bad", "2ms", "", {"burst needs mean_good and mean_bad"}},
      {"hop[0].bit_error", "0", "", {"there is no hop"}},
      {"every_hop.into", "a1", "", {"into has no place in every_hop"}},
      {"bus", "bench-fram", "", {"does not come with hopbench", "did you mean bench-frame?"}},
      {"bus", "/no/such/bus.txtpb", "", {"cannot be read"}},
      {"about", "a\xff", "", {"no text"}},
      // What does not fit any more is told where it stands.
      {"kind[single].name", "other", "nodes[a].kind", {"there is no kind \"single\""}},
      {"nodes[a].count", "2", "", {}},
      {"nodes[a].name", "b", "", {}},
  };
  for (const Wrong& wrong : table) {
    INFO(wrong.path << "=" << wrong.value.value_or("(removed)"));
    const auto made = edited(scenario, std::vector<Edit>{{wrong.path, wrong.value}}, buses_beside("s.txtpb"));
    if (wrong.words.empty()) {
      CHECK(std::holds_alternative<Scenario>(made));
      continue;
    }
    REQUIRE(std::holds_alternative<EditProblem>(made));
    const auto& problem = std::get<EditProblem>(made);
    INFO(render(problem));
    CHECK(problem.path == (wrong.at.empty() ? wrong.path : wrong.at));
    CHECK(problem.what.find('\n') == std::string::npos);
    CHECK_FALSE(problem.what.starts_with(problem.path.substr(problem.path.rfind('.') + 1) + ": "));
    for (const std::string& word : wrong.words) {
      INFO(word);
      CHECK(problem.what.find(word) != std::string::npos);
    }
  }
}

TEST_CASE("of several edits each is told at its own path, and none is made if one is wrong") {
  const Scenario scenario = load_good(bench::good);
  ScenarioTree tree(scenario);
  const std::string before = tree.text();
  const std::vector<Edit> edits{{"controller.time_out", "1s"}, {"controller.tries", "2"}};
  const auto problem = tree.apply(edits);
  REQUIRE(problem);
  CHECK(problem->path == "controller.tries");
  CHECK(tree.text() == before);
  CHECK(refused(scenario, {{"controller.time_out", "1s"}, {"controller.retries", "999"}}).path == "controller.retries");
  // Two nodes of one group, each with a clock of its own.
  const Scenario two = changed(scenario, {{"node[a1].clock.error", "1%"}, {"node[a3].clock.error", "-1%"}});
  CHECK(two.chain.nodes[0].clock->error_ppb == 10'000'000);
  CHECK_FALSE(two.chain.nodes[1].clock);
  CHECK(two.chain.nodes[2].clock->error_ppb == -10'000'000);
}

TEST_CASE("a list with thousands of nodes in it is no trouble") {
  const Scenario scenario = load_good(bench::good);
  const EditProblem problem = refused(scenario, {{"nodes[a].count", "4000000000"}, {"node[a7].clock.error", "1%"}});
  CHECK(problem.path == "nodes[a].count");
  CHECK(problem.what.find("at most 250 nodes") != std::string::npos);
}

TEST_CASE("any path and any value give a scenario or one line, never a crash") {
  const Scenario scenario = load_good(scenario_text(3));
  const std::vector<std::string> pieces{"controller",
                                        "kind",
                                        "node",
                                        "nodes",
                                        "hop",
                                        "fault",
                                        "time_out",
                                        "clock",
                                        "error",
                                        "poll",
                                        "with",
                                        "[",
                                        "]",
                                        ".",
                                        "[k0]",
                                        "[0]",
                                        "[*]",
                                        "[+]",
                                        "[into ",
                                        "a1",
                                        "b",
                                        "..",
                                        "*",
                                        "=",
                                        "{",
                                        "}",
                                        "\"",
                                        "1ms",
                                        "5",
                                        "-",
                                        " ",
                                        "\\",
                                        "\n",
                                        "\xff",
                                        "every",
                                        "bit_error",
                                        "homeward",
                                        "begins",
                                        "standing",
                                        "charge",
                                        "battery",
                                        "tap",
                                        "resistance",
                                        "every_hop",
                                        "burst",
                                        "true",
                                        "LOSS",
                                        "#",
                                        ",",
                                        "[1, 2]",
                                        "bus",
                                        "inline_bus",
                                        "name",
                                        "count",
                                        "99999999999",
                                        "0x10",
                                        "'",
                                        "<",
                                        ">",
                                        ":",
                                        std::string(1, '\0'),
                                        "\xc3\xa4",
                                        "scenario."};
  const std::vector<std::string> good{"controller.time_out=80ms",
                                      "kind[k0].cells=2",
                                      "node[*].clock.error=1%",
                                      "hop[into controller].bit_error=1e-5",
                                      "fault[0].rate=2%",
                                      "controller.poll[cells].every=3",
                                      "controller.poll[cells].with[first].value=0",
                                      "every_hop.burst={ mean_good: \"1s\" mean_bad: \"1ms\" }"};
  std::size_t made = 0;
  std::size_t refusals = 0;
  for (std::uint64_t number = 0; number < 8'000; ++number) {
    Dice dice("any path", number);
    std::string text;
    if (dice.one_in(2)) {
      for (std::uint64_t i = dice.up_to(9); i > 0; --i) text += dice.of(pieces);
    } else {
      text = dice.of(good);
      for (std::uint64_t i = dice.up_to(3); i > 0; --i) {
        const std::size_t at = dice.up_to(text.size());
        switch (dice.up_to(2)) {
          case 0:
            text.insert(at, dice.of(pieces));
            break;
          case 1:
            if (at < text.size()) text.erase(at, 1 + dice.up_to(3));
            break;
          default:
            if (at < text.size()) text[at] = static_cast<char>(dice.up_to(255));
            break;
        }
      }
    }
    INFO(number << ": " << text);
    Edit edit{text, std::nullopt};
    if (!dice.one_in(5)) {
      const auto parsed = parse_edit(text);
      if (const auto* problem = std::get_if<EditProblem>(&parsed)) {
        REQUIRE_FALSE(problem->what.empty());
        continue;
      }
      edit = std::get<Edit>(parsed);
    }
    (void)ScenarioTree(scenario).get(edit.path);
    const auto result = edited(scenario, std::span(&edit, 1), buses_beside("s.txtpb"));
    if (std::holds_alternative<Scenario>(result)) {
      ++made;
      continue;
    }
    ++refusals;
    const auto& problem = std::get<EditProblem>(result);
    const std::string line = render(problem);
    REQUIRE_FALSE(problem.what.empty());
    REQUIRE(line.size() < 1000);
    for (const char c : line) {
      if (static_cast<unsigned char>(c) < 0x20U) FAIL("a control character in " << line);
    }
  }
  CHECK(made > 300);
  CHECK(refusals > 2000);
}

}  // namespace hopbench
