// The inspector's keys, over a recorded run.
#include "view/inspector.h"

#include <algorithm>
#include <fstream>

#include "looking.h"
#include "picture/a_look.h"
#include "view/moments.h"
#include "view/selection_json.h"

namespace hopbench {

TEST_CASE("a complete capture opens on all of it, with the worst hop first") {
  const Looking at;
  CHECK(at.shows("capture complete"));
  CHECK(at.shows("FAILED "));
  CHECK(at.line(5).find("▶") != std::string::npos);
  // The noise on hop 4, the contact on hop 9 and what was put in at b2; nothing else failed in this run.
  const auto all = at.text();
  CHECK(all.find("   4 a4") != std::string::npos);
  CHECK(all.find("   9 b1") != std::string::npos);
  CHECK(all.find("  11 b3") != std::string::npos);
  CHECK(all.find("1-3 3 hops") != std::string::npos);
  CHECK(at.shows("1 column = 2 min"));
}

TEST_CASE("keys move, and what is out of reach stays out of reach") {
  const Looking at;
  for (int i = 0; i < 500; ++i) at.press(Key::down);
  for (int i = 0; i < 500; ++i) at.press(Key::right);
  CHECK(at.shows("00:58:00 to 01:00:00"));
  for (int i = 0; i < 500; ++i) at.press(Key::up);
  for (int i = 0; i < 500; ++i) at.press(Key::left);
  CHECK(at.shows("▲ 00:00:00 to 00:02:00"));
  for (int i = 0; i < 100; ++i) at.type("+");
  CHECK(at.shows("1 column = 1 ms"));
  at.press(Key::end);
  CHECK(at.shows("00:59:59.999 to 01:00:00.000"));
  at.press(Key::home);
  at.type("H");
  CHECK(at.shows("▲ 00:00:00.000"));
  CHECK_FALSE(at.shows("00:-"));
  CHECK_FALSE(at.shows(" -00"));
  for (int i = 0; i < 100; ++i) at.type("-");
  CHECK(at.shows("1 column = 36400 d"));
  at.type("o");
  CHECK(at.shows("1 column = 2 min"));
  for (const auto& [width, height] : {std::pair{10, 5}, {1, 1}, {59, 15}, {500, 200}, {80, 24}}) {
    at.inspector->resize(width, height);
    CHECK(at.inspector->compose().width() == width);
  }
  at.inspector->resize(40, 10);
  CHECK(at.shows("80 x 24 places are needed"));
}

TEST_CASE("a time is gone to, a hop is found, rows are sorted and unfolded") {
  const Looking at;
  at.answer("t00:31");
  CHECK(at.shows("00:30:00 to 00:32:00"));
  at.answer("tyesterday");
  CHECK(at.shows("a time is wanted"));
  at.answer("t3d 12:00");
  CHECK(at.shows("the capture is from 00:00:00 to 01:00:00"));
  at.answer("/a2");
  CHECK(at.line_with("▶").find("2 a2") != std::string::npos);
  at.answer("/11");
  CHECK(at.line_with("▶").find("11 b3") != std::string::npos);
  at.answer("/m");
  CHECK(at.shows("m1 of 2 nodes with m"));
  at.answer("/nobody");
  CHECK(at.shows("no hop or node is called nobody"));
  at.type("z");
  CHECK(at.shows("-3 "));  // what was opened is folded again
  at.type("z");
  CHECK_FALSE(at.shows(" hops "));
  at.type("s");
  CHECK(at.last_line() == "most check errors first\n");
  for (int i = 0; i < 4; ++i) at.type("s");
  CHECK(at.last_line() == "in chain order\n");
  CHECK(at.line(5).find("1 a1") != std::string::npos);
  at.type("sz");
  for (int i = 0; i < 5; ++i) at.press(Key::down);
  CHECK(at.line_with("▶").find("1-3 3 hops") != std::string::npos);
  at.press(Key::enter);
  CHECK(at.line_with("▶").find("1 a1") != std::string::npos);
  CHECK(at.shows("   3 a3"));
}

TEST_CASE("figures are of the whole capture, or of what is in sight") {
  const Looking at;
  const auto whole = at.line_with("▶");
  at.type("+++++");
  CHECK(at.line_with("▶").substr(0, 40) == whole.substr(0, 40));
  at.type("i");
  CHECK(at.shows("in sight"));
  CHECK(at.line_with("   4 a4") != whole);
}

TEST_CASE("a click moves, another one opens") {
  const Looking at;
  const auto layout = map_layout(80, 24, 5, 0);
  const Press there{Key::click, 0, layout.cells_left + 3, layout.rows_top + 1};
  at.inspector->press(there);
  CHECK(at.shows("▲ 00:06:00 to 00:08:00"));
  CHECK(at.line(6).find("▶") != std::string::npos);
  at.inspector->press(there);
  CHECK(at.shows("Journey of exchange "));
}

TEST_CASE("failures of a hop are gone through one by one, and each has its journey") {
  const Looking at;
  at.answer("/a4");
  at.press(Key::home);
  std::vector<std::string> seen;
  for (int i = 0; i < 5; ++i) {
    at.type("n");
    seen.push_back(at.last_line());
    CHECK(seen.back().find("Enter: journey") != std::string::npos);
    at.press(Key::enter);
    CHECK(at.shows("Journey of exchange "));
    CHECK(at.shows("on hop 4 (a3 -> a4)"));
    for (int page = 0; page < 6 && !at.shows("what the simulation did"); ++page) at.press(Key::page_down);
    CHECK(at.shows("what the simulation did"));
    at.press(Key::escape);
  }
  CHECK(std::adjacent_find(seen.begin(), seen.end()) == seen.end());
  at.type("N");
  CHECK(at.last_line() == seen[3]);
  at.press(Key::home);
  at.type("N");
  CHECK(at.shows("no failure before this on hop 4 a3 -> a4"));
}

TEST_CASE("in a journey the exchanges before and after are stepped to") {
  const Looking at;
  at.answer("g207");
  at.press(Key::enter);
  CHECK(at.shows("Journey of exchange 207"));
  at.type("]");
  CHECK(at.shows("Journey of exchange 208"));
  at.type("[[");
  CHECK(at.shows("Journey of exchange 206"));
  at.answer("g0");
  at.type("[");
  CHECK(at.shows("no exchange is recorded before this one"));
  at.answer("g21079");
  at.type("]");
  CHECK(at.shows("no exchange is recorded after this one"));
  // hjkl do what the arrows do.
  at.answer("g207");
  at.type("l");
  CHECK(at.shows("try 1 of 2"));
  at.type("h");
  CHECK(at.shows("all 2 tries"));
}

TEST_CASE("live goes along, moving away pauses, space goes along again") {
  const looked_at::Recorded folder;
  const std::string bytes = bytes_of(folder.capture());
  const auto path = folder.file("grows.cap");
  folder.write("grows.cap", bytes.substr(0, bytes.size() / 2));
  const auto picture = opened(path);
  Inspector inspector(*picture, nullptr, {}, true);
  inspector.resize(80, 24);
  const auto grow = [&] {
    while (picture->grow(5'000) > 0) inspector.grown();
  };
  const auto shows = [&](const char* words) {
    return inspector.compose().text(false).find(words) != std::string::npos;
  };
  grow();
  CHECK(shows("live, capture has no end"));
  inspector.press({Key::left, 0});
  CHECK(shows("paused, 0 newer, 0 failed"));
  std::ofstream(path, std::ios::binary | std::ios::app) << bytes.substr(bytes.size() / 2, bytes.size() / 4);
  grow();
  CHECK_FALSE(shows("paused, 0 newer"));
  CHECK(shows("paused, "));
  inspector.press({Key::character, U' '});
  CHECK(inspector.live());
  CHECK(shows("live, capture has no end"));
  // Without following from the start, space begins to.
  Inspector other(*picture, nullptr, {}, false);
  other.resize(80, 24);
  CHECK_FALSE(other.follows());
  other.press({Key::character, U' '});
  CHECK(other.follows());
  const Looking complete;
  complete.type(" ");
  CHECK(complete.shows("no more will come"));
  CHECK_FALSE(complete.inspector->live());
}

TEST_CASE("nothing that is not read yet is shown as whole") {
  const looked_at::Recorded folder;
  const auto picture = opened(folder.capture(), std::nullopt);
  Inspector inspector(*picture, nullptr, {}, false);
  inspector.resize(80, 24);
  picture->grow(8000);
  inspector.grown();
  auto text = inspector.compose().text(false);
  CHECK(text.find("% read") != std::string::npos);
  inspector.press({Key::character, U'N'});
  text = inspector.compose().text(false);
  CHECK(text.find("READ SO FAR") != std::string::npos);
  CHECK(text.find("% read)") != std::string::npos);  // of the failure before
  inspector.press({Key::character, U'v'});
  CHECK(inspector.compose().text(false).find("% read") != std::string::npos);
  inspector.press({Key::escape, 0});
  while (picture->grow(10'000) > 0) inspector.grown();
  text = inspector.compose().text(false);
  CHECK(text.find("READ SO FAR") == std::string::npos);
  CHECK(text.find("░") == std::string::npos);
}

TEST_CASE("failures by cells balancing are those of the hop that is looked at") {
  const Looking at(120, 40);
  const auto table = [&](const char* hop) {
    at.answer(std::string("/") + hop);
    at.type("v");
    const auto text = at.text();
    at.press(Key::escape);
    return text.substr(text.find("failed by cells balancing"));
  };
  // Nothing was lost on hop 1, some on hop 4, whatever the number of cells.
  CHECK(table("1").find("1 cell           0 of ") != std::string::npos);
  const auto noisy = table("4");
  CHECK(noisy.find("1 cell ") != std::string::npos);
  CHECK(noisy.find("1 cell           0 of ") == std::string::npos);
}

TEST_CASE("filters, exchanges, notes and files are asked for in the last line") {
  const Looking at;
  at.type("f");
  CHECK(at.last_line().find("show only") != std::string::npos);
  at.answer("hop 99");
  CHECK(at.shows("there is no hop 99"));
  at.answer("fhop 4 hop 5");
  CHECK(at.shows("hop is named twice"));
  at.answer("fhop 4");
  while (at.picture->grow(10'000) > 0) at.inspector->grown();
  CHECK(at.shows("only hop 4: FAILED"));
  at.answer("f");
  CHECK_FALSE(at.shows("only hop 4"));
  at.answer("gxyz");
  CHECK(at.shows("an exchange number is wanted"));
  at.answer("g100");
  CHECK(at.shows("exchange 100;"));
  at.answer("g99999999");
  CHECK(at.shows("there is none"));
  at.type("g1");
  at.press(Key::escape);
  CHECK(at.last_line().starts_with("? keys"));
  // The end of what is typed stays in sight.
  at.type("m" + std::string(200, 'x') + "the end");
  CHECK(at.last_line().ends_with("the end_\n"));
  at.press(Key::escape);

  at.answer("mthe charger was switched on");
  auto writings = at.inspector->writings();
  REQUIRE(writings.size() == 1);
  CHECK(writings[0].append);
  CHECK(writings[0].path == notes_path(at.capture()));
  const auto notes = read_notes(writings[0].text + "no note\n12 no tab\n");
  REQUIRE(notes.size() == 1);
  CHECK(notes[0].text == "the charger was switched on");
  CHECK(at.shows("note: the charger was switched on"));

  at.answer("wshown.json");
  writings = at.inspector->writings();
  REQUIRE(writings.size() == 1);
  CHECK(writings[0].text.find("hopbench.map/1") != std::string::npos);
  CHECK(writings[0].text.find("\"reality\": \"simulated\"") != std::string::npos);
  CHECK(writings[0].text.find("about the model, not about a real chain") != std::string::npos);
  at.answer("wshown.txt");
  CHECK(at.inspector->writings().at(0).text.find("lost %") != std::string::npos);
  at.type("n");
  at.press(Key::enter);
  at.answer("wj.json");
  const auto journey = at.inspector->writings().at(0).text;
  CHECK(journey.find("hopbench.journey/1") != std::string::npos);
  CHECK(journey.find("\"reality\": \"simulated\"") != std::string::npos);
  at.answer("wj.txt");
  const auto report = at.inspector->writings().at(0).text;
  CHECK(report.starts_with("Simulated: looked-at"));
  CHECK(report.find("about the model, not about a real chain") != std::string::npos);
  at.type("q");
  CHECK_FALSE(at.inspector->wants_to_quit());  // back to the map first
  at.type("q");
  CHECK(at.inspector->wants_to_quit());
}

TEST_CASE("a note belongs to the exchange that was found, or to its column") {
  const Looking at(80, 24);
  at.type("n");
  const auto said = at.last_line();  // "exchange 7 at 00:00:01.300: ..."
  at.answer("mhere");
  const auto found = read_notes(at.inspector->writings().at(0).text);
  REQUIRE(found.size() == 1);
  CHECK(said.find(" at " + whole_time(found[0].at, millisecond) + ":") != std::string::npos);
  CHECK(found[0].at > 0);
  at.press(Key::right);
  at.answer("mthe column");
  const auto column = read_notes(at.inspector->writings().at(0).text);
  REQUIRE(column.size() == 1);
  CHECK(column[0].at > found[0].at);
  CHECK(column[0].at % (2 * one_minute) == 0);
}

TEST_CASE("two hops stand side by side") {
  const Looking at(120, 40);
  at.answer("/1");
  at.type("v=");
  at.press(Key::right);
  CHECK(at.line(0).starts_with("hop 2 (a1 -> a2): time on the wire, 00:00:00 to 01:00:00"));
  CHECK(at.line(2) == "put aside: hop 1 (controller -> a1): time on the wire, 00:00:00 to 01:00:00");
  at.type("0");
  CHECK_FALSE(at.shows("put aside: hop"));
  at.press(Key::tab);
  CHECK(at.line(0).starts_with("in a2: time inside the station"));
  at.press(Key::tab);
  CHECK(at.line(0).starts_with("node a2: round trips"));
}

}  // namespace hopbench
