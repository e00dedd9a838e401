#include "view/rate_text.h"

#include <random>
#include <sstream>

#include "support/catch.h"
#include "view/compare_report.h"
#include "view/number_text.h"

using namespace hopbench;

namespace {

RateRow row(std::string label, std::uint64_t failed, std::uint64_t of) {
  return {std::move(label), failed, of, share_of(failed, of).value_or(Share{})};
}

Rates invented() {
  Rates rates;
  rates.tables.push_back({"cells_balancing",
                          "cells balancing",
                          true,
                          {row("none", 12, 400'000), row("1 to 16", 0, 2'000), row("17 to 32", 1'203, 31'000)},
                          {},
                          0,
                          {},
                          0});
  rates.tables.push_back({"charge_current", "charge current", true, {row("none", 1'215, 433'000)}, {}, 0, {}, 0});
  RateTable hops{"hop", "hop (frames not heard well)", false, {row("27 (a26 -> a27)", 1'203, 433'000)}, {}, 0, {}, 26};
  hops.healthy = row("", 0, 11'258'000);
  rates.tables.push_back(hops);
  rates.intervals = "95 % intervals: each try counts by itself.";
  return rates;
}

std::size_t widest(const std::string& text) {
  std::istringstream lines(text);
  std::size_t most = 0;
  for (std::string line; std::getline(lines, line);) most = std::max(most, characters_in(line));
  return most;
}

}  // namespace

TEST_CASE("rates say how many of how many, fold what is healthy, and name what was the same throughout") {
  const auto text = rates_text(invented(), Bars::none);
  CHECK(text ==
        "Failed tries                  n of N       %  95 % interval\n"
        "  cells balancing\n"
        "    none               12 of 400,000  0.0030  0.0016 to 0.0052\n"
        "    1 to 16               0 of 2,000       0  0 to 0.18\n"
        "    17 to 32         1,203 of 31,000     3.9  3.7 to 4.1\n"
        "  hop (frames not heard well)\n"
        "    27 (a26 -> a27) 1,203 of 433,000    0.28  0.26 to 0.29\n"
        "    26 hops: none lost in 11,258,000 (at most 0.000033 %)\n"
        "  The same throughout: charge current (none).\n"
        "  95 % intervals: each try counts by itself.\n");
}

TEST_CASE("bars show the share beside the worst of the table, in plain signs or in blocks") {
  const auto plain = rates_text(invented(), Bars::plain);
  const auto blocks = rates_text(invented(), Bars::utf8);
  CHECK(plain.find("0.0052 .\n") != std::string::npos);   // there is something
  CHECK(plain.find("0 to 0.18\n") != std::string::npos);  // there is nothing
  CHECK(plain.find("3.7 to 4.1       ####") != std::string::npos);
  CHECK(blocks.find("3.7 to 4.1       \u2588\u2588\u2588\u2588") != std::string::npos);
  CHECK(plain.find('\x1b') == std::string::npos);
  CHECK(widest(plain) <= 80);
  CHECK(widest(blocks) <= 80);
}

TEST_CASE("rates fit 80 columns whatever the names and numbers are") {
  std::mt19937_64 draw(3);
  for (int round = 0; round < 200; ++round) {
    auto rates = invented();
    for (auto& table : rates.tables) {
      for (auto& each : table.rows) {
        const std::uint64_t of = draw() >> (draw() % 60U) | 1U;
        const std::uint64_t limited = of % 200'000'000U + 1;
        each = row(std::string(draw() % 60, 'n') + "\u00e4\x1b", limited / (1 + draw() % 1'000'000), limited);
      }
    }
    for (const auto bars : {Bars::none, Bars::plain, Bars::utf8}) {
      const auto text = rates_text(rates, bars);
      CAPTURE(text);
      CHECK(widest(text) <= 80);
      CHECK(text.find('\x1b') == std::string::npos);
    }
  }
}

TEST_CASE("names that are too long for a row of rates stay different") {
  auto rates = invented();
  for (const char* end : {"7", "8"})
    rates.tables[2].rows.push_back(row("pump-house-north-rack-number-1" + std::string(60, 'x') + end, 5, 200));
  const auto text = rates_text(rates, Bars::none);
  CHECK(text.find("x7 ") != std::string::npos);
  CHECK(text.find("x8 ") != std::string::npos);
  CHECK(widest(text) <= 80);
}

TEST_CASE("a table of rates as JSON has what the text has") {
  const auto array = rates_json(invented());
  REQUIRE(array.size() == 3);
  CHECK(array[0].at("by") == "cells_balancing");
  CHECK(array[0].at("rows").as_array().size() == 3);
  CHECK(array[0].at("rows").at(2).at("failed") == 1203);
  CHECK(array[0].at("healthy").is_null());
  CHECK(array[2].at("healthy").at("count") == 26);
}

TEST_CASE("a comparison fits 80 columns whatever the names and numbers are") {
  std::mt19937_64 draw(4);
  const auto pair = [&] {
    SharePair each;
    each.name = "hop " + std::string(draw() % 50, 'x');
    each.before = {static_cast<double>(draw() % 20'000'000), 20'000'000};
    each.after = {static_cast<double>(draw() % 90'000'000), 90'000'000};
    each.difference = {each.after.share() - each.before.share(), -1, 1};
    each.adjusted = static_cast<double>(draw() % 100) / 1e6;
    return each;
  };
  for (int round = 0; round < 50; ++round) {
    Comparison comparison;
    comparison.sentence = "Cannot say.";
    comparison.unit = "blocks of 30 min";
    comparison.tries = pair();
    comparison.exchanges = pair();
    for (auto* group :
         {&comparison.outcomes, &comparison.hops, &comparison.nodes, &comparison.topics, &comparison.balancing}) {
      for (int i = 0; i < 5; ++i) group->push_back(pair());
    }
    comparison.round_trips.levels = {{0.5, 5'000'000, 7'000'000}, {1, 5'000'000, 7'000'000}};
    const auto text = compare_text(comparison, {}, {});
    CAPTURE(text);
    CHECK(widest(text) <= 80);
  }
}
