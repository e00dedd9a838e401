#include <boost/json/array.hpp>
#include <boost/json/object.hpp>
#include <boost/json/parse.hpp>
#include <string>
#include <vector>

#include "support/catch.h"
#include "view/json_text.h"
#include "view/sample_summary.h"

using namespace hopbench;
using namespace hopbench::sample;
namespace json = boost::json;

namespace {

std::vector<std::string> keys(const json::value& value) {
  std::vector<std::string> result;
  for (const auto& member : value.as_object()) result.emplace_back(member.key());
  return result;
}

using Keys = std::vector<std::string>;

}  // namespace

TEST_CASE("the document has just the keys that docs/measure.md names") {
  const FixedSummary fixed;
  const auto document = json::parse(summary_json(fixed.summary()));
  CHECK(keys(document) == Keys{"schema", "scenario", "seed", "reality", "caution", "simulated_seconds", "vantage",
                               "exchanges", "round_trip_us", "late_by_us", "rounds_us", "bursts", "unseen", "hops",
                               "nodes", "topics", "causes", "faults"});
  CHECK(document.at("schema") == "hopbench.summary/1");
  const Keys exchange_keys{"asked", "answered", "late", "garbled",   "mismatched", "refused",
                           "stale", "wrong",    "lost", "truncated", "bad_ask",    "tries"};
  CHECK(keys(document.at("exchanges")) == exchange_keys);
  CHECK(keys(document.at("round_trip_us")) == Keys{"p50", "p90", "p99", "max"});
  REQUIRE(document.at("hops").as_array().size() == 4);
  for (const auto& hop : document.at("hops").as_array()) {
    CHECK(keys(hop) == Keys{"hop",
                            "from",
                            "to",
                            "frames_in",
                            "frames_out",
                            "loss",
                            "loss_low",
                            "loss_high",
                            "check_failures",
                            "framing_errors",
                            "overruns",
                            "no_room",
                            "parity_errors",
                            "too_short",
                            "too_long",
                            "nothing",
                            "came_damaged",
                            "undetected",
                            "transit_us",
                            "used"});
    CHECK(keys(hop.at("transit_us")) == Keys{"p50", "p99", "max"});
  }
  REQUIRE(document.at("nodes").as_array().size() == 3);
  CHECK(keys(document.at("nodes").as_array()[0]) == Keys{"node", "exchanges", "round_trip_us", "bursts"});
  CHECK(keys(document.at("nodes").as_array()[0].at("exchanges")) == exchange_keys);
  REQUIRE(document.at("topics").as_array().size() == 2);
  CHECK(keys(document.at("topics").as_array()[0]) == Keys{"topic", "exchanges", "round_trip_us"});
}

TEST_CASE("numbers are numbers and say what the measures say") {
  const FixedSummary fixed;
  const auto document = json::parse(summary_json(fixed.summary()));
  CHECK(document.at("seed") == 7);
  CHECK(document.at("simulated_seconds").as_double() == Approx(1382.4));
  CHECK(document.at("vantage") == "every_hop");
  CHECK(document.at("reality") == "simulated");
  CHECK(document.at("exchanges").at("asked") == 1000);
  CHECK(document.at("exchanges").at("answered") == 998);
  CHECK(document.at("exchanges").at("tries") == 1010);
  const auto& hop = document.at("hops").as_array()[1];
  CHECK(hop.at("frames_in") == 1010);
  CHECK(hop.at("frames_out") == 998);
  CHECK(hop.at("check_failures") == 5);
  CHECK(hop.at("framing_errors") == 5);
  CHECK(hop.at("loss").as_double() == Approx(12.0 / 1010).epsilon(1e-5));
  CHECK(hop.at("transit_us").at("max").as_double() == Approx(20833.333));
  CHECK(document.at("hops").as_array()[3].at("undetected") == 1);
  CHECK(document.at("round_trip_us").at("max").as_double() == Approx(75899.999));
  // Node n1 is asked every 3 times 1.3824 s, 334 times.
  CHECK(document.at("rounds_us").at("count") == 333);
  CHECK(document.at("rounds_us").at("max") == 4'147'200);
  CHECK(document.at("late_by_us").is_null());
  // 1,010 frames of 12.5 ms in 1,382.4 s.
  CHECK(document.at("hops").as_array()[0].at("used").as_double() == Approx(1010 * 0.0125 / 1382.4).epsilon(0.004));
  CHECK(document.at("causes") == json::parse(R"({"bit_noise": 10, "contact": 2})"));
  CHECK(document.at("faults") ==
        json::parse(R"([{"fault": "a fault", "strikes": 3}, {"fault": "another", "strikes": 0}])"));
}

TEST_CASE("what is not known is null, or not there") {
  RunInfo info = ring(1);
  info.seed = ~std::uint64_t{0};
  info.truth_known = false;
  Measures measures;
  measures.links.resize(2);
  measures.nodes.resize(2);
  const auto document = json::parse(summary_json({info, measures, nullptr, {}}));
  CHECK(document.at("seed").as_uint64() == ~std::uint64_t{0});
  CHECK(document.at("round_trip_us").at("p50").is_null());
  const auto& hop = document.at("hops").as_array()[0];
  CHECK(hop.at("loss").is_null());
  CHECK(hop.at("loss_high").is_null());
  CHECK(hop.at("undetected").is_null());
  CHECK_FALSE(document.as_object().contains("causes"));
  CHECK_FALSE(document.as_object().contains("lateness"));
  CHECK_FALSE(document.as_object().contains("dropped_bytes"));
  CHECK_FALSE(document.as_object().contains("capture"));
}

TEST_CASE("a real port tells its lateness, a damaged capture its damage") {
  auto run = fixed_run();
  run.info.simulated = false;
  run.lateness = {4, 3'000'000, 8'000'000, 2, 400'000'000, 401'000'000, 30, 28, 31'000, 95'500};
  const FixedSummary fixed(run);
  const auto document = json::parse(summary_json(fixed.summary({17, 3, 5, true})));
  CHECK(document.at("lateness") ==
        json::parse(R"({"sends": 4, "worst_us": 3000, "mean_us": 2000, "stalls": 2, "worst_stall_us": 400000,
                        "stalled_us": 401000, "port_median_us": 31, "port_99_us": 95.5})"));
  CHECK(document.at("dropped_bytes") == json::parse(R"({"not_fetched": 30, "nobody_there": 28})"));
  CHECK(
      document.at("capture") ==
      json::parse(
          R"({"bytes_skipped": 17, "records_missing": 3, "files_missing": 0, "files_misplaced": 0, "files_cut": 0, "torn_bytes": 5, "unclosed": true})"));
}

TEST_CASE("exchanges with everyone have a row of their own if there are any") {
  auto run = fixed_run();
  std::get<OwnedExchange>(run.events[0]).fixed.node = 0xffff;
  const FixedSummary fixed(run);
  const auto document = json::parse(summary_json(fixed.summary()));
  REQUIRE(document.at("nodes").as_array().size() == 4);
  CHECK(document.at("nodes").as_array()[3].at("node") == "everyone");
  CHECK(document.at("nodes").as_array()[3].at("exchanges").at("asked") == 1);
}

TEST_CASE("the vantage is told in a word") {
  RunInfo info = ring(2);
  const auto with = [&](Vantage first, Vantage others) {
    for (auto& link : info.links) link.vantage = others;
    info.links[0].vantage = first;
    return vantage_of(info);
  };
  CHECK(with(Vantage::simulated, Vantage::simulated) == "every_hop");
  CHECK(with(Vantage::tapped, Vantage::unseen) == "some_hops");
  CHECK(with(Vantage::at_port, Vantage::simulated) == "some_hops");
  CHECK(with(Vantage::at_port, Vantage::unseen) == "controller_only");
  CHECK(with(Vantage::reported, Vantage::unseen) == "log");
}

TEST_CASE("any value comes back from its text") {
  const auto value = json::parse(
      R"({"a": [], "b": {}, "c": [1, -2, 0.1, 1e-300, 12345678901234567890, "q\"\\\u0001ä", null, true], "d": {"e": {"f": [[1], [2]]}}})");
  CHECK(json::parse(json_text(value)) == value);
}
