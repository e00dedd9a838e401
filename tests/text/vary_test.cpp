// A varied field on the command line: lists and ranges of values.
#include "text/vary.h"

#include <fmt/format.h>

#include "base/decimal.h"
#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

using Values = std::vector<std::string>;

Values values_in(const std::string& text) {
  const auto vary = parse_vary("field=" + text);
  INFO(text);
  if (const auto* problem = std::get_if<EditProblem>(&vary)) FAIL(render(*problem));
  CHECK(std::get<Vary>(vary).path == "field");
  return std::get<Vary>(vary).values;
}

std::string wrong_with(const std::string& text) {
  const auto vary = parse_vary(text);
  INFO(text);
  REQUIRE(std::holds_alternative<EditProblem>(vary));
  return render(std::get<EditProblem>(vary));
}

/// `number` hundredths.
std::string hundredths(std::int64_t number) {
  const std::int64_t size = number < 0 ? -number : number;
  return fmt::format("{}{}.{:02}", number < 0 ? "-" : "", size / 100, size % 100);
}

}  // namespace

TEST_CASE("values stand between commas, and what is in brackets or quotes is one value") {
  CHECK(values_in("0,1,2") == Values{"0", "1", "2"});
  CHECK(values_in("100ms, 250ms") == Values{"100ms", "250ms"});
  CHECK(values_in("[a1, a2],[a3]") == Values{"[a1, a2]", "[a3]"});
  CHECK(values_in("{ every: 2, jitter: 1 },x") == Values{"{ every: 2, jitter: 1 }", "x"});
  CHECK(values_in("\"a,b\",\"c\\\",d\"") == Values{"\"a,b\"", "\"c\\\",d\""});
  CHECK(std::get<Vary>(parse_vary("scenario.baud=1")).path == "baud");
  CHECK(values_in("DROP,PASS_ON") == Values{"DROP", "PASS_ON"});
}

TEST_CASE("ranges go on by adding or by multiplying, up to their end") {
  CHECK(values_in("9600..76800 x2") == Values{"9600", "19200", "38400", "76800"});
  CHECK(values_in("9600..115200x2") == Values{"9600", "19200", "38400", "76800"});
  CHECK(values_in("100ms..400ms +150ms") == Values{"100ms", "250ms", "400ms"});
  CHECK(values_in("0.5s..2s x2") == Values{"0.5s", "1s", "2s"});
  CHECK(values_in("1e-6..1e-3 x10") == Values{"1e-6", "1e-5", "1e-4", "1e-3"});
  CHECK(values_in("5e-1..1e+1 x4") == Values{"5e-1", "2", "8"});
  CHECK(values_in("-300ppm..300ppm +300ppm") == Values{"-300ppm", "0ppm", "300ppm"});
  CHECK(values_in("0,1..8 x2,100") == Values{"0", "1", "2", "4", "8", "100"});
  CHECK(values_in("1%..2% +0.5%") == Values{"1%", "1.5%", "2%"});
  CHECK(values_in("7..7") == Values{"7"});
  // Not a range: it does not begin with a number.
  CHECK(values_in("a3..a9") == Values{"a3..a9"});
}

TEST_CASE("what is wrong with a varied field is told in one line with what would be right") {
  CHECK(wrong_with("controller.retries") ==
        "controller.retries: values are missing: write FIELD=VALUES, for example controller.retries=0,1,2");
  CHECK(wrong_with("=1,2") == "the path is missing, for example controller.time_out or kind[single].cells");
  CHECK(wrong_with("f=1,,2") == "f: a value is missing: write values with commas between them, for example 0,1,2");
  CHECK(wrong_with("f=") == "f: a value is missing: write values with commas between them, for example 0,1,2");
  CHECK(wrong_with("f=1,2,1") == "f: \"1\" is there twice");
  CHECK(wrong_with("f=0..2,1") == "f: \"1\" is there twice");
  CHECK(wrong_with("f=10ms..1s +10ms") ==
        "f: \"10ms..1s +10ms\": both ends need the same unit, for example 100ms..1500ms +100ms");
  CHECK(wrong_with("f=10ms..20ms") ==
        "f: \"10ms..20ms\": say how it goes on, for example 100ms..400ms +50ms or 9600..76800 x2");
  CHECK(wrong_with("f=10ms..20ms +5") == "f: \"10ms..20ms +5\": the step needs the unit of the ends");
  CHECK(wrong_with("f=10ms..20ms x2ms") == "f: \"10ms..20ms x2ms\": the factor has no unit");
  CHECK(wrong_with("f=5..1") == "f: \"5..1\": a range goes upwards: the smaller number first, and a step above 0");
  CHECK(wrong_with("f=1..5 +0") ==
        "f: \"1..5 +0\": a range goes upwards: the smaller number first, and a step above 0");
  CHECK(wrong_with("f=0..5 x2") ==
        "f: \"0..5 x2\": a range goes upwards: the first number and the last, above 0, and a "
        "factor above 1");
  CHECK(wrong_with("f=1..5 x1").find("factor above 1") != std::string::npos);
  CHECK(wrong_with("f=0..2000") == "f: \"0..2000\": these are more than 1000 values");
  CHECK(wrong_with("f=1..2 *2").find("say how it goes on") != std::string::npos);
  CHECK(wrong_with("f=1..x2") == "f: \"1..x2\": a number is missing behind the ..");
  CHECK(wrong_with("f=0.000000001..1000000000000000000 +1").find("too many digits") != std::string::npos);
}

TEST_CASE("a range by steps holds just the numbers that whole hundredths give") {
  for (std::uint64_t i = 0; i < 2000; ++i) {
    Dice dice("vary", i);
    const std::int64_t first = dice.between(-5000, 5000);
    const std::int64_t step = dice.between(1, 400);
    const std::int64_t last = first + dice.between(0, 300) * step + dice.between(0, step - 1);
    const auto values = values_in(hundredths(first) + ".." + hundredths(last) + " +" + hundredths(step));
    INFO(first << " " << last << " " << step);
    REQUIRE(values.size() == static_cast<std::size_t>((last - first) / step + 1));
    for (std::size_t v = 0; v < values.size(); ++v) {
      const bool minus = values[v].front() == '-';
      std::int64_t number = 0;
      REQUIRE(scale_decimal(values[v].substr(minus ? 1 : 0), 100, false, number) == DecimalFault::none);
      CHECK((minus ? -number : number) == first + static_cast<std::int64_t>(v) * step);
    }
  }
}

TEST_CASE("any text is read or refused") {
  const std::string letters = "0123456789.,.x+-eE ms%[]{}\"\\ab";
  for (std::uint64_t i = 0; i < 20000; ++i) {
    Dice dice("vary text", i);
    std::string text = "f=";
    for (auto n = dice.up_to(24); n > 0; --n) text += letters[dice.up_to(letters.size() - 1)];
    const auto vary = parse_vary(text);
    if (const auto* good = std::get_if<Vary>(&vary)) {
      CHECK_FALSE(good->values.empty());
      CHECK(good->values.size() <= most_varied_values);
    } else {
      CHECK_FALSE(std::get<EditProblem>(vary).what.empty());
    }
  }
}

}  // namespace hopbench
