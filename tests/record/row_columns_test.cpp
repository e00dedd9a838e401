#include "record/row_columns.h"

#include <limits>

#include "record/capture_tools.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

TEST_CASE("rows of any values come back from their columns") {
  Dice dice(41);
  const auto info = ring(20);
  for (std::uint64_t i = 0; i < 500; ++i) {
    const auto exchange = wild_exchange(dice, info, i, static_cast<Nanos>(dice.next() >> 8U));
    std::string columns;
    encode_rows(exchange.rows, exchange.fixed.start, columns);
    std::vector<HopRow> rows;
    REQUIRE(decode_rows(columns, exchange.fixed.start, rows));
    REQUIRE(rows == exchange.rows);
  }
}

TEST_CASE("the ends of every range come back from their columns") {
  HopRow low;
  low.start = std::numeric_limits<Nanos>::min();
  low.end = std::numeric_limits<Nanos>::max();
  HopRow high{low.end, low.start, 0xffff, 0xffff, 0xff, true, 0xff, static_cast<Symptom>(0xff), true};
  const std::vector<HopRow> rows{low, high, low, low, high};
  for (const Nanos start : {low.start, Nanos{0}, low.end}) {
    std::string columns;
    encode_rows(rows, start, columns);
    std::vector<HopRow> back;
    REQUIRE(decode_rows(columns, start, back));
    CHECK(back == rows);
  }
}

TEST_CASE("a healthy exchange's columns are the bytes of the format's page") {
  // Worked out by hand from docs/capture-format.md for a chain of two nodes: three rows; see there for each byte.
  const std::vector<HopRow> rows{{1000, 1500, 0, 12, 0, false, 0, Symptom::none, false},
                                 {1600, 2100, 1, 12, 0, false, 0, Symptom::none, false},
                                 {2200, 2900, 2, 20, 0, true, 0, Symptom::none, false}};
  std::string columns;
  encode_rows(rows, 1000, columns);
  const std::string expected{
      "\x03"                   // rows
      "\x06"                   // links 0, 1, 2: as expected three times
      "\x31\x02\x21"           // 12 characters, the same, 8 more
      "\x04\x81\x08"           // manner 0, 0, then +256: answering
      "\x06"                   // symptoms: none
      "\x02\x91\x03\x02"       // pauses 0, 100, 100
      "\xd1\x0f\x02\xa1\x06",  // spans 500, the same, 200 more
      18};
  CHECK(columns == expected);
}

TEST_CASE("bytes that are no columns are refused") {
  std::vector<HopRow> rows;
  const auto refused = [&](std::string_view bytes) { return !decode_rows(bytes, 0, rows); };
  using namespace std::string_view_literals;
  CHECK(refused(""));
  CHECK(refused("\x01"));                                        // a row, and no columns
  CHECK(refused("\x01\x04\x02\x02\x02\x02\x02"sv));              // a run beyond its column
  CHECK(refused("\x01\x02\x02\x02\x02\x02\x02\x02"sv));          // a byte too many
  CHECK(refused("\x01\x00\x02\x02\x02\x02\x02"sv));              // a run of no length
  CHECK(refused("\xff\xff\xff\xff\xff\xff\xff\xff\xff\x7f"sv));  // no 64-bit number
  CHECK(refused("\xff\xff\xff\x7f\x02"sv));                      // more rows than there may be
  CHECK(decode_rows("\x01\x02\x02\x02\x02\x02\x02"sv, 0, rows));
  Dice dice(42);
  for (int i = 0; i < 1000; ++i) {
    const auto bytes = dice.bytes(dice.below(40));
    static_cast<void>(decode_rows({reinterpret_cast<const char*>(bytes.data()), bytes.size()}, 0, rows));
  }
}
