// Chains on the buses of open standards (tests/text/standards): check says nothing against them, every exchange is
// answered where nothing disturbs, and damage is seen alike in every way of running them.
#include <string>
#include <vector>

#include "check/run_text.h"
#include "scenario/without.h"
#include "support/catch.h"

namespace hopbench {
namespace {

struct Case {
  const char* bus;
  std::uint32_t baud;
  const char* polls;
};

const std::vector<Case>& cases() {
  static const std::vector<Case> all{
      {"en13757-2", 9600,
       "poll { name: \"reset\" topic: \"initialise\" nodes: \"*\" every: 3 }\n"
       "poll { name: \"data\" topic: \"data\" nodes: \"*\" }\n"
       "poll { name: \"bleed\" topic: \"bleed\" nodes: \"*\" with { field: \"cells\" value: 1 } every: 7 }\n"},
      {"ft12", 9600,
       "poll { name: \"status\" topic: \"status_of_link\" nodes: \"*\" }\n"
       "poll { name: \"reset\" topic: \"reset_link\" nodes: \"*\" every: 3 }\n"
       "poll { name: \"data\" topic: \"class_2\" nodes: \"*\" }\n"},
      {"modbus-ascii", 19200,
       "poll { name: \"cells\" topic: \"read_holding\" nodes: \"*\" with { field: \"first\" value: 0 } "
       "with { field: \"count\" own: CELLS } }\n"},
      {"sentences", 9600,
       "poll { name: \"volts\" topic: \"volts\" nodes: \"*\" }\n"
       "poll { name: \"board\" topic: \"board\" nodes: \"*\" }\n"
       "poll { name: \"bleed\" topic: \"bleed\" nodes: \"*\" with { field: \"cells\" value: 1 } every: 5 }\n"},
      {"ft3", 9600,
       "poll { name: \"volts\" topic: \"volts\" nodes: \"*\" }\n"
       "poll { name: \"reset\" topic: \"reset_link\" nodes: \"*\" every: 4 }\n"},
  };
  return all;
}

std::string scenario_of(const Case& each, const std::string& shape, const std::string& bit_error) {
  return "# proto-message: hopbench.text.Scenario\nname: \"standard\" seed: 7 run_for: \"1h\" bus: \"" +
         std::string(each.bus) + ".txtpb\" baud: " + std::to_string(each.baud) + " shape: " + shape +
         "\n"
         "kind { name: \"single\" cells: 1 bleed { resistor: \"33ohm\" } }\n"
         "kind { name: \"multi\" cells: 6 bleed { resistor: \"33ohm\" } }\n"
         "nodes { name: \"a\" count: 2 kind: \"single\" address: 1 }\n"
         "nodes { name: \"m\" kind: \"multi\" address: 3 }\n"
         "nodes { name: \"b\" kind: \"single\" address: 4 }\n"
         "every_hop { bit_error: \"" +
         bit_error + "\" }\ncontroller { time_out: \"2s\" retries: 1\n" + each.polls + "}\n";
}

BusFinder standards() {
  return [](const std::string& name, std::string& why) {
    return read_text_file(HOPBENCH_SOURCE_DIR "/tests/text/standards/" + name, why);
  };
}

LoadedText loaded(const std::string& text) {
  LoadedText result;
  result.scenario = load_scenario({"standard.txtpb", text}, standards(), result.problems);
  return result;
}

}  // namespace

TEST_CASE("chains on the buses of open standards are answered, and their damage is seen in every way of running") {
  for (const Case& each : cases()) {
    for (const char* shape : {"RING", "LINE"}) {
      INFO(each.bus << " " << shape);
      const LoadedText calm = loaded(scenario_of(each, shape, "0"));
      INFO(calm.shown());
      REQUIRE(calm.scenario);
      CHECK(calm.problems.empty());
      const Collector whole = run(*calm.scenario, Way::every_byte, 60);
      CHECK(whole.count(Outcome::answered) == 60);
      for (const Way way : {Way::events, Way::repeats}) CHECK(difference(whole, run(*calm.scenario, way, 60)) == "");

      const LoadedText noisy = loaded(scenario_of(each, shape, "3e-4"));
      REQUIRE(noisy.scenario);
      const Collector damaged = run(*noisy.scenario, Way::every_byte, 400);
      std::size_t seen = 0;
      for (std::uint16_t link = 0; link < 2 * 6; ++link) {
        for (const Symptom symptom : {Symptom::check, Symptom::parity, Symptom::framing}) {
          seen += damaged.count(symptom, link);
        }
      }
      CHECK(seen > 10);
      CHECK(damaged.count(Outcome::answered) < 400);
      CHECK(damaged.count(Outcome::answered) > 200);
      for (const Way way : {Way::events, Way::repeats}) {
        CHECK(difference(damaged, run(*noisy.scenario, way, 400)) == "");
      }
    }
  }
}

}  // namespace hopbench
