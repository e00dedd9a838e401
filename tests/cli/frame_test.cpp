// hopbench frame, from the outside. docs/frame.md is run by docs_test.
#include <algorithm>
#include <string>

#include "cli/program.h"

using hopbench::program::Folder;
using hopbench::program::Ran;

namespace {

const std::string standards = HOPBENCH_SOURCE_DIR "/tests/text/standards/";

bool has(const std::string& text, const std::string& part) {
  INFO(text);
  CHECK(text.find(part) != std::string::npos);
  return true;
}

}  // namespace

TEST_CASE("what frame makes, frame reads") {
  const Folder folder;
  for (const char* bus : {"bench-frame", "modbus-rtu", "old-style"}) {
    const Ran made = folder.run(std::string("frame ") + bus + " --json");
    CHECK(made.exit_code == 0);
    std::size_t frames = 0;
    for (std::size_t at = made.out.find("\"wire\": \""); at != std::string::npos;
         at = made.out.find("\"wire\": \"", at + 1)) {
      const std::size_t from = at + 9;
      const std::string hex = made.out.substr(from, made.out.find('"', from) - from);
      const Ran read = folder.run(std::string("frame ") + bus + " " + hex);
      INFO(hex << "\n" << read.out << read.err);
      CHECK(read.exit_code == 0);
      has(read.out, "Everything fits.");
      ++frames;
    }
    CHECK(frames >= 6);
  }
}

TEST_CASE("a damaged frame is told with the place of the first thing that does not fit, and exit code 1") {
  const Folder folder;
  // A worked request of MODBUS over serial line (from memory), and one bit of its check turned over.
  CHECK(folder.run("frame modbus-rtu '11 03 00 6b 00 03 76 87'").exit_code == 0);
  const Ran ran = folder.run("frame modbus-rtu '11 03 00 6b 00 03 77 87'");
  CHECK(ran.exit_code == 1);
  has(ran.out, "Does not fit from character 6 on, check: is 0x8777 and should be 0x8776");
  const Ran json = folder.run("frame modbus-rtu 1103006b00037787 --json");
  CHECK(json.exit_code == 1);
  has(json.out, "\"wrong_at\": 6");
  has(json.out, "\"expected\": 34678");
}

TEST_CASE("bytes come from the command line, from a file, from a dump, from standard input, or as text") {
  const Folder folder;
  folder.write("log.txt", "11 03 00 6b 00 03 76 87\n11 03 02 0c e4 7d 0c\n");
  const Ran file = folder.run("frame modbus-rtu --file log.txt");
  CHECK(file.exit_code == 1);  // the second line's check is made up
  has(file.out, "read_holding");
  folder.write("dump.txt", "00000000  11 03 00 6b 00 03 76 87                           |...k..v.|\n00000008\n");
  CHECK(folder.run("frame modbus-rtu --file dump.txt").exit_code == 0);
  CHECK(folder.shell("printf '1103006b00037687' | '" HOPBENCH_BINARY "' frame modbus-rtu --file -").exit_code == 0);
  const Ran text = folder.run("frame " + standards + "modbus-ascii.txtpb --text ':1103006B00037E\\r\\n'");
  CHECK(text.exit_code == 0);
  has(text.out, "Everything fits.");
}

TEST_CASE("values are given by name; what is not given is told") {
  const Folder folder;
  const Ran ran = folder.run(
      "frame bench-frame --topic readings --role answer --node 4 --exchange 7 --value count=2 "
      "--value cell_mv=3301,3299 --value first=0");
  CHECK(ran.exit_code == 0);
  has(ran.out, "3301 mV");
  has(ran.out, "3299 mV");
  has(ran.err, "snapshot_age_ms=0");
  CHECK(ran.err.find("count") == std::string::npos);
  const Ran unknown = folder.run("frame bench-frame --topic readings --value cuont=2");
  CHECK(unknown.exit_code == 2);
  has(unknown.err, "did you mean count?");
}

TEST_CASE("what is wrong on the command line or in the input is one line and exit code 2") {
  const Folder folder;
  for (const char* arguments :
       {"frame", "frame nowhere", "frame bench-frame --topic reading", "frame bench-frame 'b5 0g'",
        "frame bench-frame --topic readings --role notice", "frame bench-frame b5 --text x",
        "frame bench-frame --topic readings --value count", "frame bench-frame --topic readings --value count=x",
        "frame bench-frame --topic readings --value count=300", "frame bench-frame --topic readings b5"}) {
    const Ran ran = folder.run(arguments);
    INFO(arguments << "\n" << ran.err);
    CHECK(ran.exit_code == 2);
    CHECK(ran.out.empty());
    CHECK(std::count(ran.err.begin(), ran.err.end(), '\n') == 1);
  }
  CHECK(folder.run("frame bench-frame --file nowhere.txt").exit_code == 3);
}

TEST_CASE("any bytes can be given to any bus") {
  const Folder folder;
  std::uint32_t luck = 1;
  for (const std::string& bus :
       {std::string("bench-frame"), std::string("modbus-rtu"), std::string("old-style"), standards + "en13757-2.txtpb",
        standards + "sentences.txtpb", standards + "ft3.txtpb", standards + "modbus-ascii.txtpb"}) {
    std::string hex;
    for (int i = 0; i < 600; ++i) {
      luck = luck * 1664525U + 1013904223U;
      const char* digits = "0123456789abcdef";
      hex += digits[luck >> 28U];
      hex += digits[luck >> 24U & 15U];
      if (i % 23 == 22) hex += '\n';
    }
    folder.write("any.txt", hex);
    const Ran ran = folder.run("frame " + bus + " --file any.txt");
    CHECK((ran.exit_code == 0 || ran.exit_code == 1));
    CHECK(ran.err.empty());
  }
}

TEST_CASE("the CRC models are listed with their published check values, within 80 columns") {
  const Folder folder;
  const Ran ran = folder.run("frame --checks");
  CHECK(ran.exit_code == 0);
  has(ran.out, "CRC-16/MODBUS                 16  0x4b37");
  has(ran.out, "CRC-64/XZ                     64  0x995dc9bbdf1939fa");
  has(folder.run("frame --checks --json").out, "\"width\": 16, \"check_value\": \"0x4b37\"");
  for (std::size_t from = 0; from < ran.out.size();) {
    const std::size_t end = ran.out.find('\n', from);
    CHECK(end - from <= 80);
    from = end + 1;
  }
}
