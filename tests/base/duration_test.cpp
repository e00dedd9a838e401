#include "base/duration.h"

#include "support/catch.h"

using namespace hopbench;

TEST_CASE("durations in every unit") {
  CHECK(parse_duration("80d") == 80 * 86'400 * second);
  CHECK(parse_duration("36h") == 36 * 3'600 * second);
  CHECK(parse_duration("5min") == 300 * second);
  CHECK(parse_duration("1.3824s") == 1'382'400'000);
  CHECK(parse_duration("250ms") == 250 * millisecond);
  CHECK(parse_duration("200us") == 200 * microsecond);
  CHECK(parse_duration("17ns") == 17);
  CHECK(parse_duration("0s") == 0);
  CHECK(parse_duration("0.5d") == 43'200 * second);
  CHECK(parse_duration("0.1s") == 100 * millisecond);  // one tenth, not the nearest binary fraction
}

TEST_CASE("what is no duration is refused with the reason") {
  const auto why = [](std::string_view text) {
    std::string reason;
    REQUIRE_FALSE(parse_duration(text, &reason));
    return reason;
  };
  CHECK(why("250") ==
        "\"250\" is no duration: the unit is missing; write a number and a unit of d, h, min, s, ms, us, ns, for "
        "example \"250ms\"");
  CHECK(why("0.5ns") == "\"0.5ns\" is no duration: it is no whole number of nanoseconds");
  CHECK(why("1.0000000001s") == "\"1.0000000001s\" is no duration: it is no whole number of nanoseconds");
  CHECK(why("106752d") == "\"106752d\" is no duration: it is longer than 292 years");
  for (const char* text : {"", "s", "-5s", "+5s", "5 s", " 5s", "5s ", "5S", "5sec", "5m", "1h30min", "1e3s", "nan",
                           "inf", "0x5s", ".5s", "5.s", "1..5s", "1,5s"}) {
    INFO(text);
    CHECK(why(text).find("write a number and a unit") != std::string::npos);
  }
}

TEST_CASE("the longest duration is one nanosecond short of never") {
  CHECK(parse_duration("9223372036854775806ns") == never - 1);
  CHECK_FALSE(parse_duration("9223372036854775807ns"));
  CHECK_FALSE(parse_duration("9223372036854775808ns"));
}

TEST_CASE("durations are written in the unit that suits them") {
  CHECK(format_duration(0) == "0s");
  CHECK(format_duration(80 * 86'400 * second) == "80d");
  CHECK(format_duration(36 * 3'600 * second) == "36h");
  CHECK(format_duration(90 * 60 * second) == "90min");
  CHECK(format_duration(90 * second) == "90s");
  CHECK(format_duration(1'382'400'000) == "1.3824s");
  CHECK(format_duration(1'500'000) == "1.5ms");
  CHECK(format_duration(1'001) == "1.001us");
  CHECK(format_duration(999) == "999ns");
}

TEST_CASE("what is written is read back the same") {
  Nanos span = 1;
  for (int i = 0; i < 2'000; ++i) {
    INFO(span);
    CHECK(parse_duration(format_duration(span)) == span);
    span = static_cast<Nanos>(
        (static_cast<std::uint64_t>(span) * 6'364'136'223'846'793'005U + 1'442'695'040'888'963'407U) >> (1 + i % 50));
  }
  CHECK(parse_duration(format_duration(never - 1)) == never - 1);
}
