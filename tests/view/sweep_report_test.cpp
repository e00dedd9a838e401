// Sweeps on screen, as JSON and as CSV: rows made up by hand.
#include "view/sweep_report.h"
#include "view/number_text.h"
#include "view/page.h"

#include <boost/json/parse.hpp>
#include <sstream>

#include "base/plain_text.h"
#include "support/catch.h"
#include "view/share_bars.h"

namespace hopbench {
namespace {

SweepRow row_of(std::size_t point, std::vector<std::string> values, std::uint64_t asked, std::uint64_t failed) {
  SweepRow row;
  row.point = point;
  row.values = std::move(values);
  row.runs = 2;
  row.failed_runs = failed > 0 ? 1 : 0;
  row.covered = 7200 * second;
  row.asked = asked;
  row.failed = failed;
  row.share.share = share_of(failed, asked);
  row.tries = asked;
  row.outcomes[0] = asked - failed;
  row.median = 100 * millisecond;
  row.within_99 = 150 * millisecond;
  row.longest = 160 * millisecond;
  row.unseen = SweepUnseen{"a7", 0, false, 42 * second, 3 * second};
  row.unseen_seed = 6;
  return row;
}

Sweep small_sweep() {
  Sweep sweep;
  sweep.plan.scenario = "invented";
  sweep.plan.varied = {{"controller.retries", {"0", "1"}}, {"kind[a,b].clock.error", {"\"1%\"", "2%"}}};
  sweep.plan.first_seed = 5;
  sweep.plan.seeds = 2;
  sweep.rows = {row_of(0, {"0", "\"1%\""}, 100'000, 1000), row_of(1, {"0", "2%"}, 100'000, 0),
                row_of(2, {"1", "\"1%\""}, 0, 0), row_of(3, {"1", "2%"}, 100'000, 10)};
  sweep.rows[2].end = SweepEnd::impossible;
  sweep.rows[2].why = "no, it \"cannot\" be";
  sweep.rows[2].unseen.reset();
  sweep.rows[3].runs = 1;
  sweep.rows[3].causes = {{Cause::bit_noise, 12}, {Cause::clock, 3000}};
  sweep.runs = 7;
  return sweep;
}

std::vector<std::string> lines_in(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

const std::string& line_with(const std::vector<std::string>& lines, const std::string& part) {
  for (const std::string& line : lines) {
    if (line.find(part) != std::string::npos) return line;
  }
  FAIL("no line with " << part);
  return lines.front();
}

std::size_t count_of(const std::string& text, char what) {
  return static_cast<std::size_t>(std::count(text.begin(), text.end(), what));
}

/// A terminal on which there is room for bars.
struct WidePage {
  WidePage() { set_page_width(100); }
  ~WidePage() { set_page_width(80); }
  WidePage(const WidePage&) = delete;
  WidePage& operator=(const WidePage&) = delete;
};

}  // namespace

TEST_CASE("without room for bars a sweep's table does without them") {
  const std::string text = sweep_text(small_sweep(), {});
  for (const auto& line : lines_in(text)) CHECK(characters_in(line) <= 80);
  CHECK(text.find("Bars") == std::string::npos);
  CHECK(text.find("#") == std::string::npos);
}

TEST_CASE("a sweep's table tells counts, shares with limits, and bars that go with their logarithm") {
  const WidePage wide;
  const auto lines = lines_in(sweep_text(small_sweep(), {}));
  CHECK(lines[0] == "Simulated: a sweep of invented over 4 points, seeds 5 to 6, 7 of 8 runs so far.");
  // Exact limits of so few of 100,000 are those of a Poisson count: 939 to 1064 of 1000, up to 3.69 of none, 4.80 to
  // 18.39 of 10 (F. Garwood, Biometrika 28 (1936); its table from memory).
  const auto& much = line_with(lines, "1,000 ");
  CHECK(much.starts_with(">   0"));
  CHECK(much.find("1 of 2  1.0 (0.94 to 1.1)") != std::string::npos);
  const auto& none = line_with(lines, "0 (at most 0.0037)");
  CHECK(count_of(none, '#') == 0);
  const auto& some = line_with(lines, "0.010 (0.0048 to 0.018)");
  CHECK(some.starts_with(" *  1"));
  // The scale goes from 0.001 % (below the limit of none) to 10 % (above 1.1 %): four decades. 0.01 % lies one of them
  // from the left end, 1 % three.
  const auto& scale = line_with(lines, "0.0010 %");
  CHECK(scale.substr(scale.size() - 4) == "10 %");
  const std::size_t bar = scale.size() - scale.find("0.0010 %");
  CHECK(count_of(some, '#') == (bar + 2) / 4);
  CHECK(count_of(much, '#') == (3 * bar + 2) / 4);
  CHECK(line_with(lines, "cannot be run").find("  1") == 2);
  CHECK(line_with(lines, "no, it \"cannot\" be").find("controller.retries=1 kind[a,b].clock.error=\"1%\":") == 2);
  CHECK(line_with(lines, "clock 3,000, bit noise 12").starts_with("    1"));
  CHECK(line_with(lines, "42.0 s (a7, cell 0, seed 6)").find("100 ms   150 ms   160 ms") != std::string::npos);
  for (const auto& line : lines) CHECK(line.size() <= 100);
}

TEST_CASE("a scale of shares ends at whole powers of ten, at most at all") {
  ShareBars all(10);
  all.fit({1, 0.9, 1});
  CHECK(all.ends() == "10 % 100 %");
  CHECK(all.bar({1, 0.9, 1}) == "##########");
  ShareBars none(12);
  none.fit({0, 0, 3e-4});  // between 0.01 % and 0.1 %
  CHECK(none.ends() == "0.010 % 0.10 %");
  CHECK(none.bar({0, 0, 1e-3}) == "------------");
  CHECK(none.bar({0, 0, 1e-5}).empty());
  CHECK(none.bar({1e-5, 0, 1e-4}) == "#");  // too small for the scale, yet there
}

TEST_CASE("colour only repeats what a mark says") {
  std::string plain = sweep_text(small_sweep(), {false});
  std::string coloured = sweep_text(small_sweep(), {true});
  CHECK(plain != coloured);
  for (const std::string escape : {"\x1b[1m", "\x1b[0m"}) coloured.erase(coloured.find(escape), escape.size());
  CHECK(plain == coloured);
}

TEST_CASE("a sweep as CSV has as many fields in each line, in quotes where commas are") {
  const auto lines = lines_in(sweep_csv(small_sweep()));
  REQUIRE(lines.size() == 5);
  CHECK(lines[0].starts_with("controller.retries,\"kind[a,b].clock.error\",problem,runs,runs_with_failures,"));
  CHECK(lines[1].starts_with("0,\"\"\"1%\"\"\",,2,1,7200,100000,1000,0.01,"));
  CHECK(lines[3].starts_with("1,\"\"\"1%\"\"\",\"no, it \"\"cannot\"\" be\",2,0,7200,0,0,,,,"));
  const auto fields = [](const std::string& line) {
    std::size_t count = 1;
    bool inside = false;
    for (const char c : line) {
      if (c == '"') inside = !inside;
      if (c == ',' && !inside) ++count;
    }
    return count;
  };
  for (const auto& line : lines) CHECK(fields(line) == fields(lines[0]));
}

TEST_CASE("what was not run of a sweep is named, and the worst is that of what was") {
  Sweep sweep = small_sweep();
  sweep.rows.erase(sweep.rows.begin(), sweep.rows.begin() + 2);
  sweep.runs = 3;
  const auto lines = lines_in(sweep_text(sweep, {}));
  CHECK(lines[0] == "Simulated: a sweep of invented over 4 points, seeds 5 to 6, 3 of 8 runs so far.");
  CHECK(line_with(lines, "> worst") == "  > worst of the 1 point that was run");
  line_with(lines, "* not all seeds were run");
  CHECK(line_with(lines, "Not run yet") == "Not run yet: 2 of 4 points");
  CHECK(line_with(lines, "retries=0 kind[a,b].clock.error=\"1%\"").starts_with("  controller."));
  CHECK(line_with(lines, "retries=0 kind[a,b].clock.error=2%").starts_with("  controller."));

  const auto document = boost::json::parse(sweep_json(sweep)).as_object();
  CHECK(document.at("points_planned").to_number<int>() == 4);
  const auto& not_run = document.at("points_not_run").as_array();
  REQUIRE(not_run.size() == 2);
  CHECK(not_run[1].at("controller.retries").as_string() == "0");
  CHECK(not_run[1].at("kind[a,b].clock.error").as_string() == "2%");
  CHECK(document.at("worst").at("values").at("controller.retries").as_string() == "1");
  CHECK(document.at("worst").at("of_points").to_number<int>() == 1);

  const auto table = lines_in(sweep_csv(sweep));
  REQUIRE(table.size() == 5);
  CHECK(table[2].starts_with("0,2%,not run yet,0,,"));

  // Nothing at all, as of a shard that was stopped at once.
  sweep.rows.clear();
  sweep.runs = 0;
  CHECK(sweep_text(sweep, {}).find("Not run yet: 4 of 4 points\n") != std::string::npos);
  // A whole sweep has nothing to say of this.
  CHECK(sweep_text(small_sweep(), {}).find("Not run yet") == std::string::npos);
  CHECK(sweep_text(small_sweep(), {}).find("  > worst of the 3 points that were run\n") != std::string::npos);
  sweep = small_sweep();
  sweep.rows[2] = row_of(2, {"1", "\"1%\""}, 100'000, 1);
  CHECK(sweep_text(sweep, {}).find("  > worst point\n") != std::string::npos);
}

TEST_CASE("many points that were not run are named up to twenty") {
  const WidePage wide;
  Sweep sweep = small_sweep();
  sweep.plan.varied = {{"baud", {}}};
  for (int i = 0; i < 50; ++i) sweep.plan.varied[0].values.push_back(std::to_string(9600 + i));
  sweep.rows.clear();
  sweep.runs = 0;
  const auto lines = lines_in(sweep_text(sweep, {}));
  CHECK(line_with(lines, "more (--json") == "  and 30 more (--json names them all)");
  CHECK(lines.size() == 1 + 2 + 20 + 1);
}

TEST_CASE("an interval that is that of seeds is marked, and its mark explained") {
  Sweep sweep = small_sweep();
  CHECK(sweep_text(sweep, {}).find("seeds differ") == std::string::npos);
  sweep.rows[0].share = {Share{0.01, 0.002, 0.05}, 0.003, true};
  const auto lines = lines_in(sweep_text(sweep, {}));
  line_with(lines, "1.0 (0.20 to 5.0) s");
  line_with(lines, "s seeds differ by more than chance (p < 0.05)");
  for (const auto& line : lines) CHECK(line.size() <= 100);
  const auto document = boost::json::parse(sweep_json(sweep)).as_object();
  CHECK(document.at("points").as_array()[0].at("interval").as_string() == "seeds");
  CHECK(document.at("points").as_array()[1].at("interval").as_string() == "exact");
  CHECK(lines_in(sweep_csv(sweep))[1].find(",0.01,0.002,0.05,seeds,") != std::string::npos);
}

TEST_CASE("a sweep as JSON is one document that says it is simulated") {
  const auto document = boost::json::parse(sweep_json(small_sweep())).as_object();
  CHECK(document.at("schema").as_string() == "hopbench.sweep/1");
  CHECK(document.at("reality").as_string() == "simulated");
  CHECK(document.at("runs").to_number<int>() == 7);
  CHECK(document.at("runs_planned").to_number<int>() == 8);
  const auto& points = document.at("points").as_array();
  REQUIRE(points.size() == 4);
  CHECK(points[0].at("values").at("kind[a,b].clock.error").as_string() == "\"1%\"");
  CHECK(points[0].at("failed_share").to_number<double>() == 0.01);
  CHECK(points[0].at("round_trip_us").at("p99").to_number<double>() == 150'000);
  CHECK(points[2].at("problem").as_string() == "no, it \"cannot\" be");
  CHECK(points[2].at("failed_share").is_null());
  CHECK(points[2].at("unseen").is_null());
  CHECK(points[3].at("causes").at("clock").to_number<int>() == 3000);
}

TEST_CASE("no text of a sweep acts on a terminal") {
  const std::string hostile = "x\x1b[1m\n\r\x7f\xc2\x9b\xff";
  Sweep sweep = small_sweep();
  sweep.plan.scenario = hostile;
  for (Vary& vary : sweep.plan.varied) vary.path = hostile;
  for (SweepRow& row : sweep.rows) {
    row.values = {hostile, hostile};
    row.why = hostile;
    if (row.unseen) row.unseen->node = hostile;
  }
  for (const auto& text : {sweep_text(sweep, {}), sweep_csv(sweep), sweep_json(sweep)}) {
    for (const auto& line : lines_in(text)) CHECK(harmless(line) == line);
  }
}

}  // namespace hopbench
