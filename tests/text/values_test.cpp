#include "text/values.h"

#include "support/catch.h"
#include "text/problem.h"
#include "text/suggest.h"
#include "text/utf8.h"

using namespace hopbench;

namespace {

std::string why;

}  // namespace

TEST_CASE("probabilities are exact parts of 1e15") {
  CHECK(parse_probability("1e-6", why) == 1'000'000'000U);
  CHECK(parse_probability("0.000001", why) == 1'000'000'000U);
  CHECK(parse_probability("0.02", why) == 20'000'000'000'000U);
  CHECK(parse_probability("2%", why) == 20'000'000'000'000U);
  CHECK(parse_probability("0.1", why) == 100'000'000'000'000U);
  CHECK(parse_probability("1e-15", why) == 1U);
  CHECK(parse_probability("1e-13%", why) == 1U);
  CHECK(parse_probability("0", why) == 0U);
  CHECK(parse_probability("1", why) == certain);
  CHECK(parse_probability("100%", why) == certain);
  CHECK(parse_probability("0.333333333333333", why) == 333'333'333'333'333U);
}

TEST_CASE("what is no probability is refused") {
  for (const char* text :
       {"", "%", "-0.1", "+0.1", "nan", "inf", "0x1", ".5", "5.", "1 %", "1e", "half", "1%%", "0,5"}) {
    INFO(text);
    CHECK_FALSE(parse_probability(text, why));
    CHECK(why.find("write a number from 0 to 1 or a percentage") != std::string::npos);
  }
  CHECK_FALSE(parse_probability("1.000000000000001", why));
  CHECK(why.find("greater than 1") != std::string::npos);
  CHECK_FALSE(parse_probability("1e300", why));
  CHECK(why.find("greater than 1") != std::string::npos);
  CHECK_FALSE(parse_probability("1e-16", why));
  CHECK(why.find("finer") != std::string::npos);
}

TEST_CASE("clock errors in ppm, ppb and per cent") {
  CHECK(parse_clock_error("150ppm", why) == 150'000);
  CHECK(parse_clock_error("-0.5%", why) == -5'000'000);
  CHECK(parse_clock_error("+20ppb", why) == 20);
  CHECK(parse_clock_error("0.001ppm", why) == 1);
  CHECK(parse_clock_error("-20%", why) == -200'000'000);
  for (const char* text : {"", "5", "ppm", "--5ppm", "5 ppm", "1e3ppm", "nanppm", "5PPM", "21%", "-20.1%", "0.5ppb"}) {
    INFO(text);
    CHECK_FALSE(parse_clock_error(text, why));
  }
}

TEST_CASE("voltages in V, mV and uV") {
  CHECK(parse_voltage("3.3V", why) == 3'300'000);
  CHECK(parse_voltage("3300mV", why) == 3'300'000);
  CHECK(parse_voltage("0.5mV", why) == 500);
  CHECK(parse_voltage("7uV", why) == 7);
  for (const char* text : {"", "3.3", "V", "-1V", "3.3v", "11V", "0.1uV", "3 V"}) {
    INFO(text);
    CHECK_FALSE(parse_voltage(text, why));
  }
}

TEST_CASE("character formats") {
  LineCoding line;
  line.baud = 1'200;
  for (const char* text : {"", "8N", "9N1", "4N1", "8n1", "8X1", "8N3", "8N1.50", "8N10", "N81", "8N1 "}) {
    INFO(text);
    CHECK_FALSE(parse_line_format(text, line, why));
    CHECK(why.find("\"8N1\"") != std::string::npos);
  }
  REQUIRE(parse_line_format("6E2", line, why));
  CHECK(line.baud == 1'200);
  CHECK(line.data_bits == 6);
  CHECK(line.stop_half_bits == 4);
}

TEST_CASE("names") {
  for (const char* name : {"a", "a1", "1", "_x", "bench-frame", "a.b", "A_9"}) CHECK(is_name(name));
  for (const char* name : {"", "-a", ".a", "a..b", "a b", "a/b", "*", "a\n", "\xc3\xa4"}) CHECK_FALSE(is_name(name));
  CHECK(is_name(std::string(64, 'x')));
  CHECK_FALSE(is_name(std::string(65, 'x')));
}

TEST_CASE("the nearest name is meant, if it is near") {
  const std::vector<std::string> names = {"time_out", "retries", "nodes", "to", "from"};
  CHECK(nearest("timeout", names) == "time_out");
  CHECK(nearest("TIME_OUT", names) == "time_out");
  CHECK(nearest("retires", names) == "retries");
  CHECK(nearest("node", names) == "nodes");
  CHECK(nearest("ot", names) == "to");
  CHECK(nearest("xyz", names).empty());
  CHECK(nearest("a", names).empty());
  CHECK(nearest("", names).empty());
  CHECK(nearest(std::string(100'000, 'a'), names).empty());
  CHECK(suggestion("retires", names) == "; did you mean retries?");
  CHECK(suggestion("xyz", names) == "; known are time_out, retries, nodes, to, from");
  CHECK(suggestion("xyz", {}).empty());
}

TEST_CASE("text from outside is cut and made harmless in messages") {
  CHECK(in_quotes("abc") == "\"abc\"");
  CHECK(in_quotes("a\x1b[31m\n") == "\"a?[31m?\"");
  CHECK(in_quotes(std::string(100, 'x')) == "\"" + std::string(48, 'x') + "...\"");
  CHECK(in_quotes(std::string(47, 'x') + "\xc3\xa4\xc3\xa4") == "\"" + std::string(47, 'x') + "...\"");
}

TEST_CASE("UTF-8 as RFC 3629 has it") {
  constexpr auto fine = std::string_view::npos;
  CHECK(first_bad_utf8("plain") == fine);
  CHECK(first_bad_utf8("\xc3\xbc \xe2\x82\xac \xf0\x9f\x94\x8b") == fine);
  CHECK(first_bad_utf8("ab\x80") == 2);
  CHECK(first_bad_utf8("\xc0\xaf") == 0);          // overlong
  CHECK(first_bad_utf8("\xe0\x80\xaf") == 0);      // overlong
  CHECK(first_bad_utf8("\xed\xa0\x80") == 0);      // surrogate
  CHECK(first_bad_utf8("\xf4\x90\x80\x80") == 0);  // beyond 0x10ffff
  CHECK(first_bad_utf8("a\xe2\x82") == 1);         // cut short
}

TEST_CASE("a problem is shown with its line and a caret") {
  const Problem problem{"f.txtpb", 3, 4, "this is wrong", "\tab\x1b c"};
  CHECK(render(problem) == "f.txtpb:3:4: this is wrong\n  \tab? c\n  \t  ^\n");
  CHECK(render(Problem{"f", 0, 0, "all of it", ""}) == "f: all of it\n");
  CHECK(render(Problem{"f", 2, 3, "here", ""}, TextFile{"f", "one\r\ntwo\r\n"}) == "f:2:3: here\n  two\n    ^\n");
  CHECK(render(Problem{"g", 2, 3, "here", ""}, TextFile{"f", "one\ntwo"}) == "g:2:3: here\n");
  // A long line is cut around the place.
  const std::string shown =
      render(Problem{"f", 1, 500, "far out", std::string(499, 'a') + "X" + std::string(500, 'b')});
  CHECK(shown.find("\n  ...aaa") != std::string::npos);
  const std::size_t caret = shown.find('^') - shown.rfind('\n', shown.find('^'));
  const std::size_t x = shown.find('X') - shown.rfind('\n', shown.find('X'));
  CHECK(caret == x);
  CHECK(shown.size() < 300);
}

TEST_CASE("lines of a text") {
  CHECK(line_of("a\nb\r\nc", 1) == "a");
  CHECK(line_of("a\nb\r\nc", 2) == "b");
  CHECK(line_of("a\nb\r\nc", 3) == "c");
  CHECK(line_of("a\nb", 9).empty());
}

TEST_CASE("files that cannot be read say why") {
  CHECK_FALSE(read_text_file("/no/such/file", why));
  CHECK(why == "cannot be read: No such file or directory");
  CHECK_FALSE(read_text_file("/", why));
  CHECK(why == "cannot be read: Is a directory");
  CHECK_FALSE(read_text_file("/dev/zero", why));
  CHECK(why == "is no regular file");
}
