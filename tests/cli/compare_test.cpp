// `hopbench compare` as a user runs it.
#include <boost/json.hpp>

#include "program.h"
#include "support/catch.h"

namespace hopbench {
namespace {

std::string scenario(const std::string& noise) {
  return R"(name: "compared" run_for: "4h" bus: "bench-frame" baud: 19200 shape: RING
kind { name: "single" }
nodes { name: "a" count: 4 kind: "single" }
hop { into: "a3" bit_error: ")" +
         noise + R"(" }
controller { time_out: "300ms" gap: "5ms"
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
})";
}

}  // namespace

TEST_CASE("compare tells whether it became better or worse, and returns so") {
  const program::Folder folder;
  folder.write("noisy.txtpb", scenario("2e-5"));
  folder.write("quiet.txtpb", scenario("1e-7"));
  REQUIRE(folder.run("run noisy.txtpb --capture noisy.cap").exit_code == 0);
  REQUIRE(folder.run("run quiet.txtpb --capture quiet.cap").exit_code == 0);
  REQUIRE(folder.run("run noisy.txtpb --seed 9 --capture again.cap").exit_code == 0);

  const auto better = folder.run("compare noisy.cap quiet.cap");
  CHECK(better.exit_code == 0);
  CHECK(better.err.empty());
  CHECK(better.out.starts_with("Better (simulated): "));
  CHECK(better.out.find("hop 3 (a2 -> a3)") != std::string::npos);
  CHECK(better.out.find("about the model, not about a real chain") != std::string::npos);

  const auto worse = folder.run("compare quiet.cap noisy.cap");
  CHECK(worse.exit_code == 1);
  CHECK(worse.out.starts_with("Worse (simulated): "));

  const auto same = folder.run("compare noisy.cap again.cap");
  CHECK(same.exit_code == 0);
  CHECK(same.out.starts_with("No difference seen (simulated): "));

  const auto json = folder.run("compare noisy.cap quiet.cap --json");
  CHECK(json.exit_code == 0);
  const auto document = boost::json::parse(json.out);
  CHECK(document.at("verdict") == "better");
  CHECK(document.at("tries").at("changed") == true);
  CHECK(document.at("hops").as_array().size() == 5);

  // Sums instead of records say the same of the whole and of places.
  REQUIRE(folder.run("run noisy.txtpb --capture sums.cap --keep-one-in 0").exit_code == 0);
  const auto sums = boost::json::parse(folder.run("compare sums.cap quiet.cap --json").out);
  CHECK(sums.at("before").at("in_sums").to_number<std::uint64_t>() > 10'000);
  for (const char* part : {"tries", "exchanges"}) CHECK(sums.at(part).at("before") == document.at(part).at("before"));
  for (const char* part : {"hops", "nodes", "topics"}) {
    const auto& a = sums.at(part).as_array();
    const auto& b = document.at(part).as_array();
    REQUIRE(a.size() == b.size());
    for (std::size_t i = 0; i < a.size(); ++i) CHECK(a[i].at("before") == b[i].at("before"));
  }
}

TEST_CASE("where a change that matters may hide, compare returns so, and tells what is missing") {
  const program::Folder folder;
  folder.write("noisy.txtpb", scenario("2e-5"));
  REQUIRE(folder.run("run noisy.txtpb --for 3min --capture one.cap").exit_code == 0);
  REQUIRE(folder.run("run noisy.txtpb --for 3min --seed 9 --capture two.cap").exit_code == 0);
  const auto ran = folder.run("compare one.cap two.cap --matters 1.1");
  CHECK(ran.exit_code == 4);
  CHECK(ran.out.starts_with("Cannot say (simulated): "));
  CHECK(ran.out.find("balancing") == std::string::npos);
  const auto document = boost::json::parse(folder.run("compare one.cap two.cap --matters 1.1 --json").out);
  const auto& power = document.at("power");
  CHECK(power.at("power") == 0.8);
  const double before = document.at("tries").at("before").at("failed").to_number<double>() /
                        document.at("tries").at("before").at("of").to_number<double>();
  CHECK(power.at("fall_that_matters").to_number<double>() == Approx(before - before / 1.1));
  CHECK((power.at("more_clusters_to_show").is_object() || power.at("more_clusters_to_rule_out").is_object()));
  CHECK(document.at("at_equal_balancing").is_null());
  CHECK(document.at("tries").at("smallest_rise_seen").is_number());
  // The same capture on both sides with a factor that this much data rules out.
  CHECK(folder.run("compare one.cap one.cap --matters 50 --worse-by 50").exit_code == 0);
}

TEST_CASE("compare says what it cannot compare, and what is wrong with what it is given") {
  const program::Folder folder;
  folder.write("short.txtpb", scenario("1e-5"));
  REQUIRE(folder.run("run short.txtpb --for 2s --capture short.cap").exit_code == 0);
  const auto ran = folder.run("compare short.cap short.cap");
  CHECK(ran.exit_code == 4);
  CHECK(ran.out.starts_with("Not comparable (simulated): "));
  CHECK(folder.run("compare short.cap missing.cap").exit_code == 3);
  folder.write("no.cap", "this is no capture");
  CHECK(folder.run("compare short.cap no.cap").exit_code == 2);
  CHECK(folder.run("compare short.cap").exit_code == 2);
  CHECK(folder.run("compare short.cap short.cap --worse-by 101").exit_code == 2);
  CHECK(folder.run("compare short.cap short.cap --matters 1").exit_code == 2);
}

TEST_CASE("the examples in docs/compare.md are what comes of their commands") {
  std::ifstream page(std::string(HOPBENCH_SOURCE_DIR) + "/docs/compare.md");
  REQUIRE(page);
  const program::Folder folder;
  std::filesystem::create_directory_symlink(std::string(HOPBENCH_SOURCE_DIR) + "/captures", folder.file("captures"));
  std::string shown;
  std::string printed;
  bool inside = false;
  for (std::string line; std::getline(page, line);) {
    if (line.starts_with("```")) {
      inside = line == "```console";
      continue;
    }
    if (!inside) continue;
    if (line.starts_with("$ hopbench ")) {
      printed += folder.run(line.substr(11)).out;
    } else {
      shown += line + "\n";
    }
  }
  CHECK(printed.find("Better (simulated)") != std::string::npos);
  CHECK(printed.find("Cannot say (simulated)") != std::string::npos);
  CHECK(printed == shown);
}

}  // namespace hopbench
