// What the journey of an exchange says in words, of exchanges made up here.
#include "view/journey.h"

#include <algorithm>

#include "support/buses.h"
#include "support/catch.h"
#include "view/frame_text.h"
#include "view/number_text.h"
#include "view/weave.h"

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
  CHECK(row_time(-28 * second, second) == "-00:00:28");
  CHECK(row_time(-90'061 * second, 60 * second) == "-1d 01:01");
  CHECK(whole_time(-1'250 * millisecond, millisecond) == "-00:00:01.250");
  CHECK(instant_text(-86'400 * second) == "-1 d 00:00:00");
  CHECK(row_time(-never - 1, second).front() == '-');
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

}  // namespace hopbench
