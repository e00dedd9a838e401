// What the journey of an exchange says in words, of exchanges made up here.
#include "view/journey.h"

#include <algorithm>

#include "support/buses.h"
#include "support/catch.h"
#include "view/frame_fields.h"
#include "view/frame_text.h"
#include "view/moments.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

bool has(const std::vector<std::string>& lines, const std::string& words) {
  return std::any_of(lines.begin(), lines.end(),
                     [&](const std::string& line) { return line.find(words) != std::string::npos; });
}

}  // namespace

TEST_CASE("of what is no whole frame the bytes are shown, and no fields that they do not hold") {
  const Protocol protocol(buses::bench_frame());
  const std::vector<std::uint8_t> half{0xb5, 0x04, 0x21, 0x01, 0x00, 0x02};
  const auto lines = frame_lines(&protocol, half, false);
  CHECK(lines == std::vector<std::string>{"not a whole frame", "b5 04 21 01 00 02"});
  const std::vector<std::uint8_t> garbage(40, 0x11);
  const auto many = frame_lines(&protocol, garbage, true);
  std::size_t shown = 0;
  for (const auto& line : many) shown += static_cast<std::size_t>(std::count(line.begin(), line.end(), '1')) / 2;
  CHECK(shown == 40);
  CHECK_FALSE(has(many, "exchange"));
}

TEST_CASE("a bad ask is the controller's, and no hop is where it ended") {
  RunInfo run;
  run.links.resize(2);
  run.entries.resize(1);
  FoundExchange found;
  found.record.attempts = {{0, 100, Outcome::bad_ask}};
  found.record.fixed.outcome = Outcome::bad_ask;
  found.record.rows = {{0, 100, 0, 6, 0, false, 0, Symptom::none, true}};
  JourneyScene scene;
  scene.run = &run;
  scene.found = &found;
  const auto lines = journey_details(scene);
  CHECK(has(lines, "the controller sent no good ask"));
  CHECK_FALSE(has(lines, "heard well"));
}

TEST_CASE("an instant before the start says so, and a journey says the hour") {
  CHECK(instant_text(-86'400 * second) == "-1 d 00:00:00");
  CHECK_FALSE(instant_text(-never - 1).empty());

  RunInfo run;
  run.links.resize(1);
  FoundExchange found;
  found.record.fixed.start = 11 * 3600 * second + 55 * 60 * second + 24 * second;
  found.record.fixed.decided = found.record.fixed.start + millisecond;
  JourneyScene scene;
  scene.run = &run;
  scene.found = &found;
  CHECK(journey_screen(scene, 80, 24).text(false).find("11:55:24.000") != std::string::npos);
}

TEST_CASE("each byte of a frame stands beside what it says") {
  const Protocol protocol(buses::bench_frame());
  auto frame = protocol.ask(*protocol.topic_named("readings"), 4, 42'925, 38);
  frame.payload.push_back(3);
  frame.payload.push_back(1);
  Content content;
  protocol.encode(frame, content);
  const auto lines = field_lines(&protocol, content.view(), false);
  // Every byte once and in order.
  std::string bytes;
  for (std::size_t i = 1; i < lines.size(); ++i) bytes += lines[i].substr(0, lines[i].find("  ")) + " ";
  CHECK(bytes == hit_text(content.view(), std::nullopt) + " ");
  CHECK(has(lines, "b5          marker 181"));
  CHECK(has(lines, "26          passes_left 38"));
  CHECK(has(lines, "a7 ad       exchange 42925"));
  CHECK(has(lines, "first 3"));
  CHECK(has(lines, ", agrees"));
  // A check that fails is not said to agree.
  content[content.size() - 1] ^= 1U;
  const auto wrong = field_lines(&protocol, content.view(), false);
  CHECK(has(wrong, "header_check, agrees"));
  CHECK(has(wrong, " check, does not agree"));
}

TEST_CASE("a journey tells the time on each hop and in each station, and draws the time-out") {
  RunInfo run;
  run.controller = "controller";
  run.nodes = {"a", "b"};
  run.cells = {1, 1};
  run.links = {{1, "controller", "a"}, {2, "a", "b"}, {3, "b", "controller"}};
  run.entries.resize(1);
  run.time_out = 50 * millisecond;
  FoundExchange found;
  found.record.fixed.outcome = Outcome::lost;
  found.record.fixed.node = 1;
  found.record.attempts = {{0, 5 * millisecond, Outcome::lost}};
  found.record.rows = {{0, 5 * millisecond, 0, 6, 0, false, 0, Symptom::none, false},
                       {7'500'000, 12 * millisecond, 1, 6, 0, false, 0, Symptom::framing, false}};
  JourneyScene scene;
  scene.run = &run;
  scene.found = &found;
  scene.check = "CRC";
  const auto hops = journey_hops(scene);
  REQUIRE(hops.size() == 3);
  CHECK(hops[1].find("+0.0     5.0        -  heard well") != std::string::npos);
  CHECK(hops[2].find("+7.5     4.5      2.5  framing error") != std::string::npos);
  const auto text = journey_screen(scene, 80, 24).text(false);
  CHECK(text.find("time-out") != std::string::npos);
  CHECK(text.find("F") != std::string::npos);
  ConditionsThen then{true, 3, 4000, {{41'000, 3300, 0, 0}, {39'800, 3410, 0, 1U << 8U}}};
  scene.then = &then;
  const auto lines = journey_details(scene);
  CHECK(has(lines, "3 cells balancing, +4.0 A"));
  CHECK(has(lines, "b: board 39.8 °C, supply 3.41 V, balances 1 of 1 cell"));
  CHECK(has(lines, "a: board 41.0 °C"));  // it stands at the other end of the hop
}

}  // namespace hopbench
