// `hopbench measure` of several captures at once.
#include <filesystem>
#include <string>

#include "program.h"
#include "support/catch.h"

namespace hopbench {

TEST_CASE("captures of one chain are measured together, and the summary says how many there are") {
  const program::Folder folder;
  const std::string scenarios = HOPBENCH_SOURCE_DIR "/captures/";
  const auto record = [&](const std::string& scenario, const std::string& more, const std::string& name) {
    REQUIRE(folder.run("run " + scenarios + scenario + " " + more + " --capture " + name).exit_code == 0);
  };
  record("ring16.txtpb", "--exchanges 300 --seed 1", "a");
  record("ring16.txtpb", "--exchanges 200 --seed 2", "b");
  record("line.txtpb", "--exchanges 20", "other");
  const auto both = folder.run("measure --json a b");
  CHECK(both.exit_code == 0);
  CHECK(both.err == "");
  CHECK(both.out.find("\"captures\": 2") != std::string::npos);
  CHECK(both.out.find("\"asked\": 500,") != std::string::npos);
  CHECK(folder.run("measure a b").out.find("2 captures, the first of seed 1") != std::string::npos);
  // One alone is as ever.
  CHECK(folder.run("measure --json a").out.find("\"captures\"") == std::string::npos);
  std::filesystem::copy_file(folder.file("a"), folder.file("copy"));
  for (const std::string& wrong : {std::string("measure a other"), std::string("measure a b copy")}) {
    const auto said = folder.run(wrong);
    CHECK(said.exit_code == 2);
    CHECK(said.out == "");
    CHECK(said.err.find("cannot be added to a: ") != std::string::npos);
  }
  // The same file is one, whatever it is called.
  std::filesystem::create_symlink("a", folder.file("link"));
  std::filesystem::create_hard_link(folder.file("a"), folder.file("hard"));
  for (const char* name : {"a", "./a", "link", "hard"}) {
    const auto twice = folder.run("measure --json a b " + std::string(name));
    CHECK(twice.exit_code == 0);
    CHECK(twice.err == "hopbench: " + std::string(name) + ": the same file as a; it counts once\n");
    CHECK(twice.out == both.out);
  }
}

TEST_CASE("the files of one capture are not added to each other and to the whole") {
  const program::Folder folder;
  const std::string scenario = HOPBENCH_SOURCE_DIR "/captures/ring16.txtpb";
  REQUIRE(folder.run("run " + scenario + " --exchanges 30000 --capture y.hbcap --rotate 1MB").exit_code == 0);
  REQUIRE(folder.run("measure --json y.hbcap").out.find("\"asked\": 30000,") != std::string::npos);
  const auto all = folder.run("measure y.0001.hbcap y.0002.hbcap y.hbcap");
  CHECK(all.exit_code == 2);
  CHECK(all.err.find("the same run, over the same time: it would count twice") != std::string::npos);
  const auto apart = folder.run("measure y.0001.hbcap y.0003.hbcap");
  CHECK(apart.exit_code == 4);
  CHECK(apart.err.find("y.0003.hbcap: is file 3 of its capture, and file 1 was named before it") != std::string::npos);
  // Two of its files alone tell of different times.
  CHECK(folder.run("measure y.0001.hbcap y.0002.hbcap").exit_code == 0);
}

}  // namespace hopbench
