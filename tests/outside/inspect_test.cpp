// The inspector in a terminal of its own: the real program under a terminal multiplexer.
#include <string>

#include "picture/run_to_look_at.h"
#include "support/catch.h"
#include "terminal.h"

namespace hopbench {

TEST_CASE("in a terminal the inspector shows, obeys keys and sizes, and leaves the terminal as it was") {
  const looked_at::Recorded folder;
  const Terminal terminal(folder, 80, 24, "inspect c.cap");
  REQUIRE(terminal.comes("capture complete"));
  CHECK(terminal.comes("1 column = 2 min"));
  CHECK(terminal.comes("▆"));
  terminal.send("Home");
  terminal.send("n");
  CHECK(terminal.comes("Enter: journey"));
  terminal.send("Enter");
  CHECK(terminal.comes("Journey of exchange"));
  terminal.resize(200, 60);
  CHECK(terminal.comes("what the simulation did"));
  terminal.send("Escape");
  CHECK(terminal.comes("silence"));  // a column for which 80 places are too few
  terminal.send("'?'");
  CHECK(terminal.comes("How to read the map"));
  terminal.send("x");
  terminal.send("fhop Space 4 Enter");
  CHECK(terminal.comes("only hop 4"));
  terminal.send("mhere Enter");
  CHECK(terminal.comes("written: c.cap.notes"));
  terminal.send("wseen.json Enter");
  CHECK(terminal.comes("written: seen.json"));
  const auto size = std::filesystem::file_size(folder.capture());
  terminal.send("wc.cap Enter");
  CHECK(terminal.comes("not written, there is a file already: c.cap"));
  CHECK(std::filesystem::file_size(folder.capture()) == size);
  terminal.send("q");
  CHECK(terminal.comes("it gave 0"));
  CHECK(terminal.screen().find("lost %") == std::string::npos);
  CHECK(folder.read("c.cap.notes").find("\there\n") != std::string::npos);
  // Echo is back: what is typed shows.
  terminal.send("typed Enter");
  CHECK(terminal.comes("typed"));
}

TEST_CASE("in a terminal the inspector goes along with a capture that grows") {
  const looked_at::Recorded folder;
  const std::string half = std::to_string(std::filesystem::file_size(folder.capture()) / 2);
  const auto here = "cd '" + folder.file(".") + "' && ";
  REQUIRE(folder.shell(here + "head -c " + half + " c.cap >grows.cap").exit_code == 0);
  const Terminal terminal(folder, 100, 30, "inspect grows.cap --follow");
  REQUIRE(terminal.comes("live, capture has no end"));
  CHECK(terminal.screen().find("capture complete") == std::string::npos);
  REQUIRE(folder.shell(here + "tail -c +$((" + half + "+1)) c.cap >>grows.cap").exit_code == 0);
  CHECK(terminal.comes("live, capture complete"));
  CHECK(terminal.comes("to 01:00:00"));
  terminal.send("C-c");
  CHECK(terminal.comes("it gave 0"));
}

TEST_CASE("without colours, in ASCII, and where there is no terminal fit for it") {
  const looked_at::Recorded folder;
  {
    const Terminal terminal(folder, 80, 24, "inspect c.cap --no-index", "TERM=tmux-256color LANG=C NO_COLOR=1");
    REQUIRE(terminal.comes("capture complete"));
    CHECK(terminal.comes("lost %: . 0  1 to .01"));
    terminal.send("q");
    CHECK(terminal.comes("it gave 0"));
    CHECK_FALSE(std::filesystem::exists(folder.file("c.cap.slices")));
  }
  {
    const Terminal terminal(folder, 120, 24, "inspect c.cap", "TERM=dumb");
    CHECK(terminal.comes("hopbench measure c.cap"));
    CHECK(terminal.comes("it gave 3"));
  }
  const auto piped = folder.run("inspect c.cap");
  CHECK(piped.exit_code == 3);
  CHECK(piped.err == "hopbench: a terminal is needed; for the same numbers as text: hopbench measure c.cap\n");
  CHECK(folder.run("inspect missing.cap").exit_code == 3);
  folder.write("no.cap", "this is no capture");
  CHECK(folder.run("inspect no.cap").exit_code == 2);
}

}  // namespace hopbench
