// `hopbench explain` as a user runs it.
#include <algorithm>
#include <boost/json.hpp>
#include <filesystem>

#include "program.h"
#include "support/catch.h"

namespace hopbench {
namespace {

const std::string scenario = R"(name: "explained" run_for: "1h" bus: "bench-frame" baud: 19200 shape: RING
kind { name: "single" }
nodes { name: "a" count: 6 kind: "single" }
hop { into: "a4" bit_error: "1e-4" }
controller { time_out: "300ms" gap: "5ms"
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
  poll { name: "health" topic: "line_health" nodes: "*" every: 20 }
})";

struct Captured : program::Folder {
  Captured() {
    write("s.txtpb", scenario);
    REQUIRE(run("run s.txtpb --capture c.cap").exit_code == 0);
  }
};

}  // namespace

TEST_CASE("explain names the hop, what it looks like, and keeps the truth apart") {
  const Captured folder;
  const auto ran = folder.run("explain c.cap");
  CHECK(ran.exit_code == 0);
  CHECK(ran.err.empty());
  CHECK(ran.out.find("Hop 4 (a3 -> a4) loses more") != std::string::npos);
  CHECK(ran.out.find("Looks like noise that turns single bits over (simulated)") != std::string::npos);
  const auto truth = ran.out.find("What the simulation did (not used above)");
  REQUIRE(truth != std::string::npos);
  CHECK(ran.out.find("bit noise", truth) != std::string::npos);
}

TEST_CASE("explain with a controller's eyes names no hop, and tells what nodes counted") {
  const Captured folder;
  const auto ran = folder.run("explain c.cap --vantage controller");
  CHECK(ran.exit_code == 0);
  CHECK(ran.out.find("loses more than") == std::string::npos);
  CHECK(ran.out.find("a4 counted") != std::string::npos);
  CHECK(ran.out.find("What the simulation did") == std::string::npos);
}

TEST_CASE("explain tells how old conditions are that it read from the traffic, and which nobody told") {
  const program::Folder folder;
  auto text = scenario;
  text.insert(text.rfind('}'), R"(  poll { name: "boards" topic: "conditions" nodes: "*" every: 5 })");
  folder.write("s.txtpb", text);
  REQUIRE(folder.run("run s.txtpb --capture c.cap").exit_code == 0);
  auto out = folder.run("explain c.cap --vantage controller").out;
  std::replace(out.begin(), out.end(), '\n', ' ');
  CHECK(out.find("Conditions as told in the traffic: the number of cells balancing up to") != std::string::npos);
  CHECK(out.find("is not told on this bus.") != std::string::npos);
  const auto told = boost::json::parse(folder.run("explain c.cap --vantage controller --json").out).at("conditions");
  CHECK(told.at("as_told") == true);
  CHECK(told.at("board_temperature").at("nodes") == 6);
  // Boards are asked in every fifth round, of six nodes with exchanges of a tenth of a second or so each.
  CHECK(told.at("board_temperature").at("oldest_ns").as_int64() > 1'000'000'000);
  CHECK(told.at("board_temperature").at("oldest_ns").as_int64() < 60'000'000'000);
  CHECK(told.at("charge_current").at("told_on_this_bus") == false);
  CHECK(told.at("charge_current").at("oldest_ns").is_null());
  // As taken, the simulation states all of them.
  const auto stated = boost::json::parse(folder.run("explain c.cap --json").out).at("conditions");
  CHECK(stated.at("as_told") == false);
  CHECK(stated.at("charge_current").at("known_for_exchanges").as_int64() > 0);
  CHECK(stated.at("board_temperature").at("oldest_ns").is_null());
}

TEST_CASE("explain --json is one document") {
  const Captured folder;
  const auto ran = folder.run("explain c.cap --json");
  CHECK(ran.exit_code == 0);
  const auto document = boost::json::parse(ran.out);
  CHECK(document.at("cases").at(0).at("candidates").at(0).at("mechanism") == "bit_noise");
  CHECK(document.at("where").at("hops").at(0).at("hop") == 4);
}

TEST_CASE("explain says what is wrong with what it is given") {
  const program::Folder folder;
  CHECK(folder.run("explain missing.cap").exit_code == 3);
  folder.write("no.cap", "this is no capture");
  CHECK(folder.run("explain no.cap").exit_code == 2);
  CHECK(folder.run("explain no.cap --vantage moon").exit_code == 2);
  CHECK(folder.run("explain").exit_code == 2);
}

TEST_CASE("a capture whose head is damaged is no capture, and one cut off is read as far as it goes") {
  const Captured folder;
  const auto shell = [&](const std::string& command) {
    return folder.shell("cd '" + folder.file(".") + "' && " + command);
  };
  REQUIRE(shell("cp c.cap d.cap && printf '\\377\\377\\377\\377\\377\\377' | dd of=d.cap bs=1 seek=100 conv=notrunc")
              .exit_code == 0);
  for (const char* command : {"explain d.cap", "compare c.cap d.cap", "measure d.cap"}) {
    INFO(command);
    const auto ran = folder.run(command);
    CHECK(ran.exit_code == 2);
    CHECK(ran.out.empty());
    CHECK(ran.err == "hopbench: d.cap: no capture, or its head cannot be read\n");
  }
  REQUIRE(shell("head -c $(($(stat -c %s c.cap) / 2)) c.cap >half.cap").exit_code == 0);
  const auto half = folder.run("explain half.cap");
  CHECK(half.exit_code == 0);
  CHECK(half.err.find("half.cap: not closed") != std::string::npos);
}

TEST_CASE("results that cannot be written, and numbers with a sign, are said to be so") {
  const Captured folder;
  for (const char* command : {"measure c.cap", "explain c.cap", "check s.txtpb", "capture check c.cap"}) {
    INFO(command);
    const auto ran = folder.shell("cd '" + folder.file(".") + "' && '" HOPBENCH_BINARY "' " + command + " >/dev/full");
    CHECK(ran.exit_code == 3);
    CHECK(ran.err.find("cannot be written") != std::string::npos);
  }
  for (const char* seed : {"-1", "x", "1.5", "99999999999999999999999"}) {
    INFO(seed);
    const auto ran = folder.run("run s.txtpb --seed " + std::string(seed));
    CHECK(ran.exit_code == 2);
    CHECK(ran.err.starts_with("hopbench: "));
    CHECK(ran.err.find("--seed") != std::string::npos);
  }
}

TEST_CASE("the charger's ripple is found though the mains' frequency wanders") {
  const program::Folder folder;
  const auto explained = [&](const std::string& noise) {
    folder.write("w.txtpb", R"(name: "wanders" bus: "bench-frame" baud: 115200
battery { capacity: "500Ah" charge: "50%" }
cycle { period: "20min" charge: "5A" charge_for: "12min" }
kind { name: "k" forwarding { whole { after: "200us" } } answer_after: "1ms" }
nodes { name: "n" count: 2 kind: "k" }
hop { into: "n2" )" + noise + R"( }
controller { time_out: "60ms" pace: "137ms"
  poll { name: "c" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" value: 1 } } }
)");
    std::filesystem::remove(folder.file("w.cap"));
    REQUIRE(folder.run("run w.txtpb --for 2h --capture w.cap").exit_code == 0);
    return folder.run("explain w.cap").out;
  };
  const auto has = [](const std::string& text, const std::string& what) {
    std::string one_line;
    for (const char c : text) {
      if (c != ' ' && c != '\n') one_line += c;
    }
    std::string wanted;
    for (const char c : what) {
      if (c != ' ') wanted += c;
    }
    return one_line.find(wanted) != std::string::npos;
  };
  const std::string steady = explained("line_ripple { window: \"2ms\" bit_error: \"2e-3\" }");
  CHECK(has(steady, "keeps step with a ripple of 100 Hz (p"));
  const std::string wanders = explained("line_ripple { window: \"2ms\" bit_error: \"2e-3\" wander: \"0.1%\" }");
  CHECK(has(wanders, "Looks like ripple of the charger"));
  CHECK(has(wanders, "keeps step with a ripple of 100 Hz, give or take what it wanders (p"));
  CHECK_FALSE(has(explained("bit_error: \"3e-4\""), "keeps step"));
}

}  // namespace hopbench
