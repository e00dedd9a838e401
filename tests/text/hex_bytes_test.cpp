// Bytes as people and dump tools write them.
#include "text/hex_bytes.h"

#include "support/catch.h"

using namespace hopbench;

namespace {

std::vector<HexRun> runs(const std::string& text) {
  std::string problem;
  const auto found = hex_runs("x", text, problem);
  INFO(problem);
  REQUIRE(found);
  return *found;
}

std::string problem_of(const std::string& text) {
  std::string problem;
  CHECK_FALSE(hex_runs("x", text, problem));
  return problem;
}

}  // namespace

TEST_CASE("pairs of digits are read with whatever people put between them") {
  const HexRun wanted{0xB5, 0x01, 0x2F};
  for (const char* text : {"b5012f", "B5 01 2F", "b5:01:2f", "0xB5, 0x01, 0x2f", "b5;01\t2F\r\n", "  b501 2f \n"}) {
    INFO(text);
    CHECK(runs(text) == std::vector<HexRun>{wanted});
  }
}

TEST_CASE("lines are runs of their own, but for the lines of a dump") {
  CHECK(runs("b5 01\n\n2f\n") == std::vector<HexRun>{{0xB5, 0x01}, {0x2F}});
  // As hexdump -C and xxd print eighteen bytes.
  HexRun all;
  for (int i = 0; i < 18; ++i) all.push_back(static_cast<std::uint8_t>(0x30 + i));
  CHECK(runs("00000000  30 31 32 33 34 35 36 37  38 39 3a 3b 3c 3d 3e 3f  |0123456789:;<=>?|\n"
             "00000010  40 41                                             |@A|\n"
             "00000012\n") == std::vector<HexRun>{all});
  CHECK(runs("00000000: 3031 3233 3435 3637 3839 3a3b 3c3d 3e3f  0123456789:;<=>?\n"
             "00000010: 4041                                     @A\n") == std::vector<HexRun>{all});
}

TEST_CASE("what is no byte is told with its place") {
  CHECK(problem_of("b5 0g") ==
        "x:1:4: \"0g\" is no byte; write two hexadecimal digits for each, for example \"b5 01\"");
  CHECK(problem_of("b5\nb5 1") ==
        "x:2:4: \"1\" is no byte; write two hexadecimal digits for each, for example \"b5 01\"");
  CHECK(problem_of("0x") == "x:1:3: \"\" is no byte; write two hexadecimal digits for each, for example \"b5 01\"");
  CHECK(problem_of(" \n").starts_with("x:1:1: no bytes"));
  CHECK(problem_of("\x1b[2J").find('\x1b') == std::string::npos);
  CHECK(problem_of(std::string(std::size_t{5} << 20U, 'a')).find("1 MiB") != std::string::npos);
}

TEST_CASE("characters may be given with escapes") {
  std::string problem;
  CHECK(bytes_of_text("$A\\r\\n\\x7f\\\\", problem) == HexRun{'$', 'A', 13, 10, 0x7F, '\\'});
  CHECK_FALSE(bytes_of_text("ab\\q", problem));
  CHECK(problem == "text:1:3: \"\\q\" is no escape; known are \\r, \\n, \\t, \\\\ and \\xhh");
  CHECK_FALSE(bytes_of_text("\\x7", problem));
  CHECK_FALSE(bytes_of_text("\\", problem));
}
