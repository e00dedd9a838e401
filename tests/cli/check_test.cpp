// hopbench check, from the outside.
#include "cli/program.h"

using hopbench::program::Folder;
using hopbench::program::Ran;

namespace {

const std::string good =
    "name: \"t\" bus: \"bench-frame\" kind { name: \"k\" } nodes { name: \"a\" count: 3 kind: \"k\" }\n"
    "controller { poll { name: \"off\" topic: \"bleed\" nodes: \"*\" with { field: \"cells\" value: 0 } } }\n";
const std::string sources = HOPBENCH_SOURCE_DIR;

}  // namespace

TEST_CASE("a good scenario is told in one line") {
  const Folder folder;
  folder.write("s.txtpb", good);
  const Ran ran = folder.run("check s.txtpb");
  CHECK(ran.exit_code == 0);
  CHECK(
      ran.out ==
      "s.txtpb: ok (scenario t: ring of 3 nodes on bench-frame (38400 Bd 8N1), 3 entries in the plan; asks topics that "
      "change something: bleed)\n");
  CHECK(ran.err.empty());
}

TEST_CASE("what comes with the tool is good") {
  const Folder folder;
  const Ran ran = folder.run("check " + sources + "/captures/*.txtpb " + sources + "/proto/buses/*.txtpb");
  INFO(ran.err);
  CHECK(ran.exit_code == 0);
  CHECK(ran.err.empty());
  CHECK(ran.out.find("ring16.txtpb: ok (scenario ring16: ring of 16 nodes on ring16-bus (9600 Bd 8N1), 16 entries in "
                     "the plan, runs for 80d)\n") != std::string::npos);
  CHECK(ran.out.find("modbus-rtu.txtpb: ok (bus description modbus-rtu: silence framing, 19200 Bd 8E1, 4 topics)\n") !=
        std::string::npos);
}

TEST_CASE("problems go to the error output with file, line, column and a caret") {
  const Folder folder;
  std::string text = good;
  text.replace(text.find("count"), 5, "cuont");
  folder.write("bad.txtpb", text);
  folder.write("good.txtpb", good);
  const Ran ran = folder.run("check bad.txtpb good.txtpb");
  CHECK(ran.exit_code == 2);
  CHECK(ran.out.find("good.txtpb: ok") == 0);
  CHECK(ran.err.find("bad.txtpb:1:67: Nodes has no field \"cuont\"; did you mean count?\n  name: \"t\"") == 0);
  CHECK(ran.err.find("\n" + std::string(2 + 66, ' ') + "^\n") != std::string::npos);
}

TEST_CASE("a bus beside the scenario is found by its path") {
  const Folder folder;
  std::filesystem::create_directory(folder.file("sub"));
  std::string text = good;
  text.replace(text.find("\"bench-frame\""), 13, "\"my-bus.txtpb\"");
  folder.write("sub/s.txtpb", text);
  std::filesystem::copy_file(sources + "/proto/buses/bench-frame.txtpb", folder.file("sub/my-bus.txtpb"));
  CHECK(folder.run("check sub/s.txtpb").exit_code == 0);

  folder.write("sub/my-bus.txtpb", "name: \"x\"\ntopics {}\n");
  const Ran ran = folder.run("check sub/s.txtpb");
  CHECK(ran.exit_code == 2);
  CHECK(ran.err.find("sub/my-bus.txtpb:2:1: Bus has no field \"topics\"; did you mean topic?") == 0);
}

TEST_CASE("a bus beside the scenario that is named without its ending is pointed out") {
  const Folder folder;
  std::string text = good;
  text.replace(text.find("\"bench-frame\""), 13, "\"my-bus\"");
  folder.write("s.txtpb", text);
  std::filesystem::copy_file(sources + "/proto/buses/bench-frame.txtpb", folder.file("my-bus.txtpb"));
  const Ran ran = folder.run("check s.txtpb");
  CHECK(ran.exit_code == 2);
  CHECK(ran.err.find("does not come with hopbench; the file beside this one is named \"my-bus.txtpb\"\n") !=
        std::string::npos);
}

TEST_CASE("a file that is not there is one line") {
  const Folder folder;
  const Ran ran = folder.run("check nothing.txtpb");
  CHECK(ran.exit_code == 2);
  CHECK(ran.err == "nothing.txtpb: cannot be read: No such file or directory\n");
}

TEST_CASE("bytes that are no scenario at all are told plainly") {
  const Folder folder;
  folder.write("binary", std::string("\x7f"
                                     "ELF\x02\x01\x00\x00\xff\xfe",
                                     10));
  const Ran ran = folder.run("check binary");
  CHECK(ran.exit_code == 2);
  CHECK(ran.err.find("binary:1:") == 0);
  CHECK(ran.err.find('\x7f') == std::string::npos);
}
