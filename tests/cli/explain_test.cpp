// `hopbench explain` as a user runs it.
#include <boost/json.hpp>

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
  CHECK(ran.out.find("Hop 4 (a3 -> a4) stands out") != std::string::npos);
  CHECK(ran.out.find("Looks like noise that turns single bits over (simulated)") != std::string::npos);
  const auto truth = ran.out.find("What the simulation did (not used above)");
  REQUIRE(truth != std::string::npos);
  CHECK(ran.out.find("bit noise", truth) != std::string::npos);
}

TEST_CASE("explain with a controller's eyes names no hop, and tells what nodes counted") {
  const Captured folder;
  const auto ran = folder.run("explain c.cap --vantage controller");
  CHECK(ran.exit_code == 0);
  CHECK(ran.out.find("stands out: ") == std::string::npos);
  CHECK(ran.out.find("a4 counted") != std::string::npos);
  CHECK(ran.out.find("What the simulation did") == std::string::npos);
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

}  // namespace hopbench
