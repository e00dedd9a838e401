// Every result says in its first sentence what of the run was real, whoever prints it.
#include <algorithm>
#include <boost/json.hpp>

#include "../measure/sample_run.h"
#include "program.h"
#include "record/capture_writer.h"
#include "seen/reality.h"
#include "support/catch.h"

namespace hopbench {
namespace {

namespace json = boost::json;

/// The same exchanges, as if they had been so. `doubtful`: those that failed may have been the port's doing.
void record(const program::Folder& folder, const std::string& name, Reality reality, bool doubtful = false) {
  auto run = sample::Run{};
  run.info = sample::ring(2);
  run.info.simulated = reality == Reality::simulated;
  run.info.truth_known = reality != Reality::real_chain;
  if (reality != Reality::simulated) {
    for (auto& link : run.info.links) link.vantage = reality == Reality::real_chain ? Vantage::tapped : link.vantage;
    run.info.links.front().vantage = run.info.links.back().vantage = Vantage::at_port;
  }
  for (std::uint64_t i = 0; i < 600; ++i) {
    auto exchange = sample::clean_exchange(run.info, i, static_cast<Nanos>(i) * second);
    exchange.has_truth = run.info.truth_known;
    if (i % 10 == 5) {
      exchange.rows.resize(2);
      exchange.rows[1].symptom = Symptom::check;
      exchange.fixed.outcome = exchange.attempts[0].outcome = Outcome::lost;
      exchange.fixed.round_trip = -1;
      exchange.answered.clear();
      exchange.fixed.doubtful = doubtful;
      // What has a cause of the chain's own is in no doubt.
      if (exchange.has_truth) {
        exchange.attempt_truth = {{doubtful ? Cause::none : Cause::bit_noise, 0xffff, 1, 0xffffffff}};
      }
    }
    run.events.emplace_back(std::move(exchange));
  }
  run.until = 600 * second;
  CaptureWriter writer(system_file_ops(), folder.file(name), {1, "", "", {}}, unhurried_plan(monotonic_now));
  run.tell(writer);
  writer.drain();
  REQUIRE(writer.error() == 0);
}

constexpr Reality all_of_them[] = {Reality::simulated, Reality::simulated_chain, Reality::real_chain};

std::string second_line(const std::string& text) { return text.substr(text.find('\n') + 1); }
bool contains(const std::string& text, std::string_view what) { return text.find(what) != std::string::npos; }

/// In lines or in one: what stands there.
std::string on_one_line(std::string text) {
  std::replace(text.begin(), text.end(), '\n', ' ');
  for (auto at = text.find("  "); at != std::string::npos; at = text.find("  ")) text.erase(at, 1);
  return text;
}

const std::string about_the_model = "A verdict from a simulation is about the model, not about a real chain.";

}  // namespace

TEST_CASE("measure, explain and capture check say what was real, and caution where anything was simulated") {
  const program::Folder folder;
  for (const auto reality : all_of_them) {
    record(folder, "c.cap", reality);
    INFO(name_of(reality));
    const std::string top = std::string(at_top(reality)) + ": ";
    const bool simulated = anything_simulated(reality);

    const auto measured = folder.run("measure c.cap");
    CHECK(second_line(measured.out).starts_with(top));
    CHECK(contains(measured.out, about_the_model) == simulated);
    const auto figures = json::parse(folder.run("measure c.cap --json").out);
    CHECK(figures.at("reality") == json::value(name_of(reality)));
    CHECK(figures.at("caution").is_null() != simulated);

    // Also with the eyes of a controller, who sees no hop, simulated or not.
    for (const std::string eyes : {"", " --vantage controller"}) {
      INFO(eyes);
      const auto explained = folder.run("explain c.cap" + eyes);
      CHECK(second_line(explained.out).starts_with(top));
      CHECK(contains(explained.out, about_the_model) == simulated);
      const std::string behind = " (" + std::string(in_short(reality)) + ")";
      CHECK(contains(on_one_line(explained.out), behind) == simulated);
      const auto why = json::parse(folder.run("explain c.cap --json" + eyes).out);
      CHECK(why.at("reality") == json::value(name_of(reality)));
      CHECK(why.at("simulated") == json::value(simulated));
      CHECK(why.at("cautions").as_array().empty() != simulated);
      CHECK(std::string(why.at("headline").as_string()).starts_with(top));
    }

    const auto checked = folder.run("capture check c.cap");
    CHECK(contains(checked.out, ", seed 7, " + std::string(in_passing(reality)) + ", id "));
    const auto file = json::parse(folder.run("capture check c.cap --json").out).at("files").at(0);
    CHECK(file.at("reality") == json::value(name_of(reality)));
    CHECK(file.at("simulated") == json::value(simulated));
    std::filesystem::remove(folder.file("c.cap"));
  }
}

TEST_CASE("compare says what was real of both, and does not compare what is not alike") {
  const program::Folder folder;
  for (const auto reality : all_of_them) record(folder, std::string(name_of(reality)), reality);
  for (const auto before : all_of_them) {
    for (const auto after : all_of_them) {
      const std::string line = "compare " + std::string(name_of(before)) + " " + std::string(name_of(after));
      INFO(line);
      const auto ran = folder.run(line);
      const auto document = json::parse(folder.run(line + " --json").out);
      const std::string first = ran.out.substr(0, ran.out.find("\n\n"));
      const bool simulated = anything_simulated(before) || anything_simulated(after);
      CHECK(contains(ran.out, about_the_model) == simulated);
      CHECK(document.at("simulated") == json::value(simulated));
      CHECK(document.at("before").at("reality") == json::value(name_of(before)));
      CHECK(document.at("after").at("reality") == json::value(name_of(after)));
      CHECK(contains(ran.out, "seed 7 (" + std::string(in_passing(before)) + "): 600 exchanges"));
      CHECK(contains(on_one_line(ran.out), "The controller was real on one side only") ==
            (before != after && anything_simulated(before) == anything_simulated(after)));
      if (before == after) {
        CHECK(first.starts_with("No difference seen (" + std::string(in_passing(before)) + "): "));
        CHECK(ran.exit_code == 0);
      } else if (anything_simulated(before) == anything_simulated(after)) {
        // One simulated chain, asked by two controllers.
        CHECK(on_one_line(first).starts_with("No difference seen (before: " + std::string(in_passing(before)) +
                                             "; after: " + std::string(in_passing(after)) + "): "));
        CHECK(ran.exit_code == 0);
      } else {
        CHECK(on_one_line(first).starts_with(
            "Not comparable: not the same was real (before: " + std::string(in_passing(before)) + "; after: "));
        CHECK(ran.exit_code == 4);
        const auto added = folder.run("measure " + std::string(name_of(before)) + " " + std::string(name_of(after)));
        CHECK(added.exit_code == 2);
        CHECK(contains(added.err, "not the same was real"));
      }
    }
  }
}

TEST_CASE("explain and compare leave out what a late port may have decided, and tell how many exchanges") {
  const program::Folder folder;
  record(folder, "late", Reality::simulated_chain, true);
  record(folder, "failed", Reality::simulated_chain);
  const std::string line =
      "60 exchanges are left out: the bench was so late at the port that this may have decided what came of them.";
  const auto explained = folder.run("explain late");
  CHECK(contains(on_one_line(explained.out), "540 exchanges"));
  CHECK(contains(on_one_line(explained.out), "0 of 540 tries failed"));
  CHECK(contains(on_one_line(explained.out), line));
  const auto why = json::parse(folder.run("explain late --json").out);
  CHECK(why.at("left_out_as_doubtful") == 60);
  CHECK(why.at("cases").as_array().empty());
  CHECK_FALSE(contains(folder.run("explain failed").out, "left out"));
  CHECK(json::parse(folder.run("explain failed --json").out).at("left_out_as_doubtful") == 0);

  const auto compared = folder.run("compare late failed");
  CHECK(contains(on_one_line(compared.out), line));
  CHECK(compared.exit_code == 1);  // with them it would be no difference
  const auto document = json::parse(folder.run("compare late failed --json").out);
  CHECK(document.at("before").at("left_out_as_doubtful") == 60);
  CHECK(document.at("before").at("exchanges") == 540);
  CHECK(document.at("after").at("left_out_as_doubtful") == 0);
}

TEST_CASE("a session of emulate, its capture and the session run again are of a simulated chain") {
  const program::Folder folder;
  folder.write("s.txtpb", R"(name: "one" bus: "modbus-rtu" baud: 57600 shape: RING
kind { name: "single" on_unknown_topic: REFUSE }
nodes { name: "a" kind: "single" }
controller { time_out: "500ms"
  poll { name: "cells" topic: "read_holding" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } } })");
  // Of a chain of one node both hops are at the port.
  const auto session = folder.run("emulate s.txtpb --pty link --for 1ms --capture c.cap");
  REQUIRE(session.exit_code == 0);
  CHECK(second_line(session.out).starts_with("Simulated chain, real controller: 0 exchanges were asked"));
  CHECK(second_line(folder.run("measure c.cap").out).starts_with("Simulated chain, real controller: "));
  CHECK(second_line(folder.run("emulate --again c.cap").out).starts_with("Simulated chain, real controller: "));
  CHECK(second_line(folder.run("explain c.cap --vantage controller").out)
            .starts_with("Simulated chain, real controller: "));
}

}  // namespace hopbench
