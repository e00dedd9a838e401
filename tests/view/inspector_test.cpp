// The inspector's screens against text files that were looked over by hand, and its keys. The files in
// tests/view/screens are our own output: they show that nothing changes unnoticed, not that it is right.
// HOPBENCH_WRITE_SCREENS=1 writes them anew; look at what changed before it is committed.
#include "view/inspector.h"

#include <algorithm>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <sstream>

#include "picture/run_to_look_at.h"
#include "support/catch.h"
#include "text/scenario.h"
#include "view/help.h"

namespace hopbench {
namespace {

struct Looking : looked_at::Recorded {
  std::unique_ptr<Picture> picture;
  std::unique_ptr<Protocol> protocol;
  std::unique_ptr<Inspector> inspector;

  explicit Looking(int width = 80, int height = 24, bool live = false) {
    std::string why;
    bool no_capture = false;
    picture = Picture::open(capture(), "1", why, no_capture);
    REQUIRE(picture);
    while (picture->grow(10'000) > 0) {
    }
    std::vector<Problem> problems;
    const auto scenario = load_scenario({"s", picture->scenario_text()}, stored_bus(picture->bus_text()), problems);
    REQUIRE(scenario);
    protocol = std::make_unique<Protocol>(scenario->bus);
    inspector = std::make_unique<Inspector>(*picture, protocol.get(), std::vector<Note>{}, live);
    inspector->resize(width, height);
  }
  void type(const std::string& text) const {
    for (const char32_t c : code_points(text)) inspector->press({Key::character, c});
  }
  void press(Key key) const { inspector->press({key, 0}); }
  [[nodiscard]] std::string text() const { return inspector->compose().text(false); }
  [[nodiscard]] bool shows(const std::string& words) const { return text().find(words) != std::string::npos; }
  [[nodiscard]] std::string last_line() const {
    const auto all = text();
    return all.substr(all.rfind('\n', all.size() - 2) + 1);
  }
};

std::string golden_path(const std::string& name) {
  return std::string(HOPBENCH_SOURCE_DIR) + "/tests/view/screens/" + name + ".txt";
}

std::string golden(const std::string& name) {
  std::ifstream file(golden_path(name), std::ios::binary);
  return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

void check_screen(const std::string& name, const std::string& text) {
  if (std::getenv("HOPBENCH_WRITE_SCREENS") != nullptr) {
    std::ofstream file(golden_path(name), std::ios::binary);
    file << text;
  }
  CAPTURE(name);
  CHECK(text == golden(name));
}

/// Like a picture of `links` hops in which nothing was recorded.
RunInfo long_chain(std::size_t nodes) {
  RunInfo run;
  run.scenario = "long";
  run.controller = "controller";
  std::string before = "controller";
  for (std::size_t i = 1; i <= nodes; ++i) {
    const std::string name = "n" + std::to_string(i);
    run.nodes.push_back(name);
    run.cells.push_back(i % 10 == 0 ? 16 : 1);
    run.links.push_back({static_cast<std::uint16_t>(i), before, name});
    before = name;
  }
  run.links.push_back({static_cast<std::uint16_t>(nodes + 1), before, "controller"});
  return run;
}

WeaveScene scene_of(const RunInfo& run, const std::vector<RowSlice>& rows, const RunPart& stretch) {
  WeaveScene scene;
  scene.run = &run;
  scene.rows = rows;
  scene.stretch = &stretch;
  scene.sum.links.resize(run.links.size());
  for (const auto& row : rows) scene.sum.add(row.slice);
  scene.until = 3600 * second;
  scene.state = "held";
  return scene;
}

}  // namespace

TEST_CASE("the weave at several sizes is the one that was looked over") {
  for (const auto& [width, height] : {std::pair{80, 24}, {120, 40}, {200, 60}}) {
    Looking at(width, height);
    at.type("o");
    const auto screen = at.inspector->compose();
    const std::string name = "weave-" + std::to_string(width) + "x" + std::to_string(height);
    check_screen(name, screen.text(false));
    if (width != 80) continue;
    check_screen(name + "-ascii", screen.text(true));
    check_screen(name + "-inks", screen.inks());
    // That this comparison can fail: one letter that is another.
    auto altered = screen.text(false);
    altered[altered.find("loss")] = 'm';
    CHECK(altered != golden(name));
  }
}

TEST_CASE("the head says first what was real, in short where there is little room") {
  auto run = long_chain(3);
  const RunPart stretch;
  const std::vector<RowSlice> rows;
  const auto head = [&](int width) {
    auto scene = scene_of(run, rows, stretch);
    scene.capture = "a-capture-with-a-name-that-is-rather-long.hbcap";
    const auto text = weave_screen(scene, width, 24).text(false);
    return text.substr(0, text.find('\n'));
  };
  CHECK(head(80).starts_with("simulated: long seed 0 "));
  run.simulated = false;
  CHECK(head(80).starts_with("simulated chain: long seed 0 "));
  CHECK(head(200).starts_with("simulated chain, real controller: long seed 0  a-capture-"));
  run.truth_known = false;
  for (auto& link : run.links) link.vantage = Vantage::tapped;
  CHECK(head(80).starts_with("real chain: long seed 0 "));
  // The longest name of a scenario does not push it out.
  run.scenario = std::string(300, 'x');
  CHECK(head(80).starts_with("real chain: xxx"));
}

TEST_CASE("a journey, figures and the help are the ones that were looked over") {
  Looking at(80, 24);
  at.press(Key::home);
  at.type("n");
  at.press(Key::enter);
  check_screen("journey-80x24", at.text());
  at.inspector->resize(140, 30);
  check_screen("journey-140x30", at.text());
  at.inspector->resize(80, 24);
  at.press(Key::escape);
  at.type("ov");
  check_screen("figures-80x24", at.text());
  at.type("=");
  at.press(Key::right);
  at.press(Key::tab);
  at.inspector->resize(120, 40);
  check_screen("figures-120x40", at.text());
  const auto help = help_screen(80, 24).text(false);
  check_screen("help-80x24", help);
  CHECK(help.find("q  back, and out") != std::string::npos);  // all of it fits
}

TEST_CASE("a note belongs to the exchange that was found, or to its row") {
  Looking at(80, 24);
  at.type("on");
  const auto said = at.last_line();  // "exchange 7 at 00:00:01.300: ..."
  at.type("m");
  at.type("here");
  at.press(Key::enter);
  const auto found = read_notes(at.inspector->writings().at(0).text);
  REQUIRE(found.size() == 1);
  CHECK(said.find(" at " + whole_time(found[0].at, millisecond) + ":") != std::string::npos);
  CHECK(found[0].at > 0);
  at.press(Key::down);
  at.type("m");
  at.type("the row");
  at.press(Key::enter);
  const auto row = read_notes(at.inspector->writings().at(0).text);
  REQUIRE(row.size() == 1);
  CHECK(row[0].at > found[0].at);
  CHECK(row[0].at % (64 * millisecond) == 0);  // where a row of that picture begins
}

TEST_CASE("two stretches of time stand side by side") {
  Looking at(120, 40);
  at.type("ov=");
  at.press(Key::escape);
  at.press(Key::home);
  at.type("++v");
  const auto text = at.text();
  std::istringstream lines(text);
  std::string here;
  std::string aside;
  std::getline(lines, here);
  std::getline(lines, aside);
  CHECK(here.starts_with("● hop 1 (controller -> a1), 00:00:00 to 00:"));
  CHECK(here.find("to 01:00:00") == std::string::npos);
  CHECK(aside == "○ hop 1 (controller -> a1), 00:00:00 to 01:00:00");
  std::size_t rows = 0;
  for (std::string line; std::getline(lines, line);) rows += line.starts_with("● ") || line.starts_with("○ ") ? 1U : 0U;
  CHECK(rows == 2);
  at.type("0");
  CHECK(at.text().find("○") == std::string::npos);
}

TEST_CASE("an instant is told with its day, and a day is not said twice") {
  const Nanos day = 86'400 * second;
  CHECK(stretch_text(0, day - second, second) == "00:00:00 to 23:59:59");
  CHECK(stretch_text(0, 6 * day, second) == "00:00:00 to 6 d 00:00:00");
  CHECK(stretch_text(2 * day + second, 2 * day + 61 * second, second) == "2 d 00:00:01 to 00:01:01");
  CHECK(stretch_text(day + 1'250 * millisecond, day + 2'000 * millisecond, millisecond) ==
        "1 d 00:00:01.250 to 00:00:02.000");
}

TEST_CASE("the screens in docs/inspect.md and the README are these") {
  std::size_t compared = 0;
  for (const char* page : {"/docs/inspect.md", "/README.md"}) {
    std::ifstream file(std::string(HOPBENCH_SOURCE_DIR) + page);
    REQUIRE(file);
    const std::string opening = "```screen ";
    for (std::string line; std::getline(file, line);) {
      if (!line.starts_with(opening)) continue;
      const auto name = line.substr(opening.size());
      std::string shown;
      while (std::getline(file, line) && line != "```") shown += line + "\n";
      CAPTURE(page, name);
      CHECK(shown == golden(name));
      ++compared;
    }
  }
  CHECK(compared == 5);
}

TEST_CASE("only ASCII is left where there is ASCII only") {
  Looking at(120, 40);
  for (const char* keys : {"o", "v", "?"}) {
    at.type(keys);
    const auto text = at.inspector->compose().text(true);
    CHECK(std::all_of(text.begin(), text.end(), [](char c) { return static_cast<unsigned char>(c) < 0x7f; }));
    CHECK(text.find('?') == text.rfind('?'));  // at most the one in "? for help": nothing lacks a stand-in
  }
}

TEST_CASE("a chain too long for the screen scrolls, with all of it in a strip") {
  const auto run = long_chain(250);
  std::vector<RowSlice> rows(5);
  for (auto& row : rows) {
    row.slice.links.resize(251);
    for (auto& cell : row.slice.links) cell = {100, 0, 0, mark_of(Symptom::none)};
  }
  rows[2].slice.links[200] = {100, 40, 40, mark_of(Symptom::check)};
  const RunPart stretch;
  auto scene = scene_of(run, rows, stretch);
  const auto left = weave_screen(scene, 80, 24).text(false);
  CHECK(left.find("n1 ") != std::string::npos);
  CHECK(left.find("n201") == std::string::npos);
  CHECK(left.find("▇") != std::string::npos);  // the strip tells of what is not in sight
  scene.first_link = 195;
  const auto right = weave_screen(scene, 80, 24).text(false);
  CHECK(right.find("201") != std::string::npos);
  CHECK(right.find("  C") != std::string::npos);
}

TEST_CASE("what was not seen looks different from what was well") {
  auto run = long_chain(3);
  run.links[1].vantage = Vantage::unseen;
  std::vector<RowSlice> rows(2);
  for (auto& row : rows) row.slice.links.resize(4);
  rows[0].slice.links[0] = {1, 0, 0, mark_of(Symptom::none)};
  rows[1].read = false;
  CHECK(weave_cell(rows[0].slice.links[0], run.links[0], rows[0]).glyph == U'·');
  CHECK(weave_cell(rows[0].slice.links[1], run.links[1], rows[0]).glyph == U'╎');
  CHECK(weave_cell(rows[0].slice.links[2], run.links[2], rows[0]).glyph == U' ');
  CHECK(weave_cell(rows[1].slice.links[0], run.links[0], rows[1]).glyph == U'░');
  rows[0].slice.missing = missing_gap;
  CHECK(weave_cell(rows[0].slice.links[2], run.links[2], rows[0]).glyph == U'▒');
  const RunPart stretch;
  CHECK(weave_screen(scene_of(run, rows, stretch), 80, 24).text(false).find("not read yet") != std::string::npos);
}

TEST_CASE("letters tell the worst, small ones that it was little") {
  const LinkInfo link{1, "a", "b"};
  const RowSlice row;
  const auto letter = [&](LinkCell cell) { return weave_cell(cell, link, row).glyph; };
  const auto marks = [](std::initializer_list<Symptom> all) {
    std::uint16_t bits = 1;
    for (const auto each : all) bits |= mark_of(each);
    return bits;
  };
  CHECK(letter({100, 10, 10, marks({Symptom::check})}) == U'C');
  CHECK(letter({100, 9, 9, marks({Symptom::check})}) == U'c');
  CHECK(letter({100, 50, 1, marks({Symptom::check, Symptom::framing})}) == U'F');
  CHECK(letter({100, 50, 1, marks({Symptom::framing, Symptom::overrun})}) == U'O');
  CHECK(letter({100, 50, 1, marks({Symptom::overrun, Symptom::nothing})}) == U'N');
  CHECK(letter({0, 0, 0, mark_not_passed_on, 1}) == U'X');
  CHECK(letter({100, 0, 0, mark_not_passed_on, 11}) == U'x');
  CHECK(letter({100, 0, 0, mark_not_passed_on, 12}) == U'X');
  CHECK(outcome_cell(1).glyph == U'·');
  CHECK(outcome_cell(0).glyph == U' ');
  CHECK(outcome_cell(1U | 1U << static_cast<unsigned>(Outcome::late)).glyph == U'l');
  CHECK(outcome_cell(1U << static_cast<unsigned>(Outcome::lost) | 1U << static_cast<unsigned>(Outcome::late)).glyph ==
        U'n');
}

TEST_CASE("numbers in four places") {
  CHECK(tiny_share(0, 0) == "-");
  CHECK(tiny_share(0, 9) == "0");
  CHECK(tiny_share(1, 10'000) == "<.1");
  CHECK(tiny_share(1, 1000) == "0.1");
  CHECK(tiny_share(994, 10'000) == "9.9");
  CHECK(tiny_share(999, 1000) == "99");
  CHECK(tiny_share(7, 7) == "all");
  CHECK(tiny_ms(std::nullopt) == "-");
  CHECK(tiny_ms(4'700'000) == "4.7");
  CHECK(tiny_ms(187 * millisecond) == "187");
  CHECK(tiny_ms(3 * second) == "3s");
}

TEST_CASE("keys move, and what is out of reach stays out of reach") {
  Looking at;
  CHECK(at.shows("held, complete"));
  for (int i = 0; i < 500; ++i) at.press(Key::right);
  CHECK(at.shows("13"));
  for (int i = 0; i < 500; ++i) at.press(Key::left);
  at.press(Key::home);
  CHECK(at.shows("00:00:00 to"));
  for (int i = 0; i < 100; ++i) at.press(Key::up);
  CHECK(at.shows("00:00:00 to"));
  for (int i = 0; i < 3; ++i) at.press(Key::page_down);
  CHECK_FALSE(at.shows("00:00:00 to"));
  at.press(Key::end);
  CHECK(at.shows("01:00:0"));
  for (int i = 0; i < 100; ++i) at.type("+");
  CHECK(at.shows("rows of 1.00 ms"));
  for (int i = 0; i < 100; ++i) at.type("-");
  CHECK(at.shows("rows of 99.4 d"));  // 2^33 ms
  at.type("o");
  CHECK(at.shows("00:00:00 to"));
  for (const auto& [width, height] : {std::pair{10, 5}, {1, 1}, {59, 15}, {500, 200}, {80, 24}}) {
    at.inspector->resize(width, height);
    CHECK(at.inspector->compose().width() == width);
  }
  at.inspector->resize(40, 10);
  CHECK(at.shows("80 x 24 places are needed"));
}

TEST_CASE("failures are gone through one by one, and each has its journey") {
  Looking at;
  at.press(Key::home);
  std::vector<std::string> seen;
  for (int i = 0; i < 5; ++i) {
    at.type("n");
    seen.push_back(at.last_line());
    CHECK(seen.back().find("Enter shows its journey") != std::string::npos);
    at.press(Key::enter);
    CHECK(at.shows("Journey of exchange "));
    for (int page = 0; page < 3 && !at.shows("what the simulation did"); ++page) at.press(Key::page_down);
    CHECK(at.shows("what the simulation did"));
    at.press(Key::escape);
  }
  CHECK(std::adjacent_find(seen.begin(), seen.end()) == seen.end());
  at.type("N");
  CHECK(at.last_line() == seen[3]);
  at.press(Key::home);
  at.type("N");
  CHECK(at.shows("no failure before"));
}

TEST_CASE("live goes along, moving away holds, space goes along again") {
  Looking at(80, 24, true);
  CHECK(at.shows("live"));
  for (int i = 0; i < 40; ++i) at.press(Key::up);
  CHECK(at.shows("held"));
  at.type(" ");
  CHECK(at.shows("live"));
  CHECK(at.inspector->live());
}

TEST_CASE("filters, exchanges, notes and files are asked for in the last line") {
  Looking at;
  at.type("f");
  CHECK(at.last_line().find("show only") != std::string::npos);
  at.type("hop 99");
  at.press(Key::enter);
  CHECK(at.shows("there is no hop 99"));
  at.type("fhop 4");
  at.press(Key::enter);
  while (at.picture->grow(10'000) > 0) at.inspector->grown();
  at.type("o");
  CHECK(at.shows("only hop 4"));
  at.type("f");
  for (int i = 0; i < 10; ++i) at.press(Key::backspace);
  at.press(Key::enter);
  while (at.picture->grow(10'000) > 0) at.inspector->grown();
  at.type("o");
  CHECK_FALSE(at.shows("only hop 4"));
  at.type("gxyz");
  at.press(Key::enter);
  CHECK(at.shows("a number is wanted"));
  at.type("g100");
  at.press(Key::enter);
  CHECK(at.shows("exchange 100;"));
  at.type("g99999999");
  at.press(Key::enter);
  CHECK(at.shows("there is none"));
  at.type("g1");
  at.press(Key::escape);
  CHECK(at.last_line() == "? for help\n");

  at.type("mthe charger was switched on");
  at.press(Key::enter);
  auto writings = at.inspector->writings();
  REQUIRE(writings.size() == 1);
  CHECK(writings[0].append);
  CHECK(writings[0].path == notes_path(at.capture()));
  const auto notes = read_notes(writings[0].text + "no note\n12 no tab\n");
  REQUIRE(notes.size() == 1);
  CHECK(notes[0].text == "the charger was switched on");
  CHECK(at.last_line() == "note: the charger was switched on\n");
  CHECK(at.shows("▶"));

  at.type("wshown.json");
  at.press(Key::enter);
  writings = at.inspector->writings();
  REQUIRE(writings.size() == 1);
  CHECK(writings[0].text.find("hopbench.weave/1") != std::string::npos);
  CHECK(writings[0].text.find("\"reality\": \"simulated\"") != std::string::npos);
  CHECK(writings[0].text.find("about the model, not about a real chain") != std::string::npos);
  at.type("wshown.txt");
  at.press(Key::enter);
  CHECK(at.inspector->writings().at(0).text.find("loss %") != std::string::npos);
  at.type("n");
  at.press(Key::enter);
  at.type("wj.json");
  at.press(Key::enter);
  const auto journey = at.inspector->writings().at(0).text;
  CHECK(journey.find("hopbench.journey/1") != std::string::npos);
  CHECK(journey.find("\"reality\": \"simulated\"") != std::string::npos);
  at.type("q");
  CHECK_FALSE(at.inspector->wants_to_quit());  // back to the weave first
  at.type("q");
  CHECK(at.inspector->wants_to_quit());
}

TEST_CASE("nothing that a capture holds can speak to the terminal") {
  auto run = long_chain(2);
  run.scenario = "bad\x1b[2J\x07name";
  run.nodes[0] = run.links[0].to = run.links[1].from = "\x1b]0;x\x07";
  std::vector<RowSlice> rows(2);
  for (auto& row : rows) row.slice.links.resize(3);
  const RunPart stretch;
  const auto text = weave_screen(scene_of(run, rows, stretch), 80, 24).text(false);
  CHECK(
      std::none_of(text.begin(), text.end(), [](char c) { return static_cast<unsigned char>(c) < 0x20 && c != '\n'; }));
}

}  // namespace hopbench
