// `hopbench emulate --serial` asks for a word for each mechanism that a scenario would let loose on a real port. No
// device has the name given here: whoever gets as far as opening it is told so, with exit code 3.
#include <algorithm>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <vector>

#include "program.h"
#include "scenario/without.h"
#include "seen/mechanism.h"
#include "support/catch.h"
#include "text/scenario.h"

namespace hopbench {
namespace {

namespace fs = std::filesystem;

/// Has every mechanism there is. Invented.
const std::string everything = R"(name: "everything" bus: "bench-frame" baud: 19200 shape: RING
battery { capacity: "10Ah" charge: "90%" cell_resistance: "2mohm" tap_resistance: "20mohm" }
kind { name: "single" buffer_bytes: 60 sleep_after: "400ms" wake_up: "2ms" start_up: "2s"
  measurement { snapshot: "8ms" per_cell: "1ms" }
  bleed { resistor: "33ohm" duty: "50%" chop_period: "4ms" }
  supply { current: "20mA" inrush: "60mA" brown_out: "3.13V" brown_in: "3.16V" }
  clock { error: "1%" }
  processor { watchdog: "200ms" duty { name: "store" every: "20s" takes: "10ms" } } }
nodes { name: "a" count: 3 kind: "single" }
every_hop { bit_error: "1e-6" burst { mean_good: "20s" mean_bad: "60ms" bad_bit_error: "3%" }
  contact { mean_between: "10s" mean_open: "20ms" } open { from: "20min" to: "22min" } lows_longer: "1us"
  line_ripple { window: "1ms" bit_error: "1e-4" } bleed_edge { window: "20us" bit_error: "1e-3" } }
fault { name: "loss" class: LOSS rate: "1%" }
controller { time_out: "300ms" gap: "5ms"
  processor { duty { name: "web" every: "2s" takes: "8ms" } }
  balancing { every: "10s" start: "3.3V" difference: "4mV" hysteresis: "2mV" }
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
})";

constexpr const char* send = " --serial no-device --send-on-real-port";
constexpr const char* inject = " --inject-on-real-port";

/// Those of the controller, which is real, and its wish to balance: the rest acts.
bool asks_for_a_word(Mechanism mechanism) {
  return mechanism != Mechanism::controller && mechanism != Mechanism::balancing;
}

/// What a refusal names, between "has" and the comma that follows.
std::vector<std::string> named_in(const std::string& refusal) {
  const std::string before = "this scenario has ";
  const auto from = refusal.find(before);
  if (from == std::string::npos) return {};
  const auto start = from + before.size();
  std::string list = refusal.substr(start, refusal.find(", which can make", start) - start);
  for (auto at = list.find(" and "); at != std::string::npos; at = list.find(" and ")) list.replace(at, 5, ", ");
  std::vector<std::string> names;
  std::istringstream words(list);
  for (std::string word; std::getline(words, word, ',');) names.push_back(word.substr(word.find_first_not_of(' ')));
  return names;
}

std::vector<std::string> expected_of(const std::vector<Mechanism>& mechanisms) {
  std::vector<std::string> names;
  for (const auto each : mechanisms) {
    if (asks_for_a_word(each)) names.emplace_back(name_of(each));
  }
  return names;
}

}  // namespace

TEST_CASE("each mechanism alone is refused at a real port without the word, and taken with it") {
  const program::Folder folder;
  folder.write("s.txtpb", everything);
  for (const Mechanism mechanism : mechanisms()) {
    const std::string name(name_of(mechanism));
    INFO(name);
    const std::string line = "emulate s.txtpb --only " + name + send;
    const auto without_word = folder.run(line);
    INFO(without_word.err);
    // --only keeps balancing beside it.
    CHECK(without_word.exit_code == (asks_for_a_word(mechanism) ? 2 : 3));
    CHECK(named_in(without_word.err) == expected_of({mechanism}));
    CHECK((without_word.err.find("--inject-on-real-port") != std::string::npos) == asks_for_a_word(mechanism));
    const auto with_word = folder.run(line + inject);
    CHECK(with_word.exit_code == 3);
    CHECK(with_word.err.find("No such file") != std::string::npos);
    // The word for one thing does not do for the other.
    CHECK(folder.run("emulate s.txtpb --only " + name + " --serial no-device" + inject).exit_code == 2);
    CHECK(folder.run("emulate s.txtpb --without " + name + send).exit_code == 2);
  }
}

TEST_CASE("a refusal names all that a scenario has, and a scenario without them needs no word") {
  const program::Folder folder;
  folder.write("s.txtpb", everything);
  const auto refused = folder.run(std::string("emulate s.txtpb") + send);
  CHECK(refused.exit_code == 2);
  const auto all = mechanisms();
  CHECK(named_in(refused.err) == expected_of({all.begin(), all.end()}));
  std::string left_out;
  for (const Mechanism each : all) left_out += " --without " + std::string(name_of(each));
  CHECK(folder.run("emulate s.txtpb" + left_out + send).exit_code == 3);
}

TEST_CASE("for every scenario that comes along, the word is asked for what it has") {
  const program::Folder folder;
  std::size_t refusals = 0;
  std::size_t taken = 0;
  for (const char* place : {"captures", "tests/outside/scenarios"}) {
    for (const auto& entry : fs::recursive_directory_iterator(fs::path(HOPBENCH_SOURCE_DIR) / place)) {
      if (entry.path().extension() != ".txtpb") continue;
      const std::string path = entry.path().string();
      std::ifstream in(path);
      std::stringstream text;
      text << in.rdbuf();
      std::vector<Problem> problems;
      const auto scenario = load_scenario({path, text.str()}, buses_beside(path), problems);
      if (!scenario) continue;  // a bus description
      INFO(path);
      const auto expected = expected_of(mechanisms_of(scenario->chain));
      const auto ran = folder.run("emulate '" + path + "'" + send);
      CHECK(named_in(ran.err) == expected);
      CHECK(ran.exit_code == (expected.empty() ? 3 : 2));
      ++(expected.empty() ? taken : refusals);
    }
  }
  CHECK(refusals > 30);
  CHECK(taken > 0);
}

TEST_CASE("emulate says first that its values are invented, at a pty as well as at a real port") {
  const program::Folder folder;
  folder.write("s.txtpb", everything);
  const std::string invented =
      "CAUTION: the values are invented. A controller with a charger, load or contactor must not act on them.\n";
  const auto at_pty = folder.run("emulate s.txtpb --pty link --for 1ms");
  CHECK(at_pty.exit_code == 0);
  CHECK(at_pty.err.starts_with(invented));
  CHECK(at_pty.err.find("CAUTION", 1) == std::string::npos);  // what is about adapters is not said here
  CHECK(at_pty.out.find("CAUTION") == std::string::npos);
  const auto at_port = folder.run(std::string("emulate s.txtpb") + send + inject);
  CHECK(at_port.err.starts_with("CAUTION: an adapter that is not isolated"));
  CHECK(at_port.err.find(invented) < at_port.err.find("no-device"));
}

}  // namespace hopbench
