// The inspector's screens against text files that were looked over by hand. The files in tests/view/screens are our own
// output: they show that nothing changes unnoticed, not that it is right.
#include <algorithm>

#include "looking.h"
#include "view/help.h"

namespace hopbench {

TEST_CASE("the map at several sizes is the one that was looked over") {
  for (const auto& [width, height] : {std::pair{80, 24}, {120, 40}, {200, 60}}) {
    const Looking at(width, height);
    const auto screen = at.inspector->compose();
    const std::string name = "map-" + std::to_string(width) + "x" + std::to_string(height);
    check_screen(name, screen.text(false));
    check_screen(name + "-ascii", screen.text(true));
    if (width != 80) continue;
    check_screen(name + "-inks", screen.inks());
    // That this comparison can fail: one letter that is another.
    auto altered = screen.text(false);
    altered[altered.find("lost")] = 'm';
    CHECK(altered != golden(name));
  }
}

TEST_CASE("a journey, a histogram and the help are the ones that were looked over") {
  const Looking at(80, 24);
  at.answer("g207");
  at.press(Key::enter);
  check_screen("journey-80x24", at.text());
  at.inspector->resize(140, 40);
  check_screen("journey-140x40", at.text());
  at.inspector->resize(80, 24);
  at.press(Key::escape);
  at.answer("/a4");
  at.type("v");
  check_screen("histogram-80x24", at.text());
  at.type("=");
  at.press(Key::right);
  at.inspector->resize(120, 40);
  check_screen("histogram-120x40", at.text());
  const auto help = help_screen(80, 24).text(false);
  check_screen("help-80x24", help);
  CHECK(help.find("q  back, and out") != std::string::npos);  // all of it fits
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
  const Looking at(120, 40);
  for (const char* keys : {"", "v", "q?"}) {
    at.type(keys);
    const auto text = at.inspector->compose().text(true);
    CHECK(std::all_of(text.begin(), text.end(), [](char c) { return static_cast<unsigned char>(c) < 0x7f; }));
    CHECK(text.find('?') == text.rfind('?'));  // at most the one in "? keys": nothing lacks a stand-in
  }
}

}  // namespace hopbench
