// `hopbench measure --series`: a run over time.
#include <algorithm>
#include <cmath>
#include <fstream>
#include <map>
#include <string>
#include <vector>

#include "program.h"
#include "support/catch.h"

namespace hopbench {
namespace {

// Small cells that are bled, loaded and charged hard, so that a mistake of one bleed shows within minutes. Taps lose
// nothing, and cells settle before they are measured: what is told is what stands at the terminals, to half a
// millivolt.
const std::string busy = R"(name: "busy" bus: "bench-frame" baud: 38400
battery { capacity: "400mAh" capacity_spread: "2%" charge: "90%" charge_spread: "4%" cell_resistance: "20mohm"
  polarisation_resistance: "30mohm" polarisation_capacitance: "2kF" leakage: "1mA" leakage_spread: "1mA" }
cycle { period: "20min" load: "500mA" load_for: "8min" charge: "800mA" charge_from: "8min" charge_for: "12min" done: "50mA" }
kind { name: "one" bleed { resistor: "10ohm" stop_at: "32C" } heat { rise: "12K/W" time: "40s" }
  supply { current: "15mA" } measurement { bleed: PAUSED } }
kind { name: "four" cells: 4 bleed { resistor: "15ohm" duty: "60%" } supply { current: "5mA" } measurement { bleed: PAUSED } }
nodes { name: "a" count: 2 kind: "one" }
nodes { name: "b" kind: "four" }
controller { time_out: "200ms" pace: "100ms"
  balancing { every: "7s" start: "3.25V" difference: "2mV" hysteresis: "1mV" }
  poll { name: "c" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
  poll { name: "d" topic: "conditions" nodes: "*" every: 9 } }
)";

using Rows = std::vector<std::vector<std::string>>;

/// RFC 4180, without quotes: the names here need none.
Rows rows_of(const std::string& text) {
  Rows rows;
  std::size_t at = 0;
  while (at < text.size()) {
    const std::size_t end = text.find("\r\n", at);
    REQUIRE(end != std::string::npos);
    rows.emplace_back(1);
    for (; at < end; ++at) {
      if (text[at] == ',') {
        rows.back().emplace_back();
      } else {
        rows.back().back() += text[at];
      }
    }
    at = end + 2;
  }
  return rows;
}

class Table {
 public:
  explicit Table(const std::string& text) : rows_(rows_of(text)) {
    for (std::size_t i = 0; i < rows_.front().size(); ++i) places_[rows_.front()[i]] = i;
    for (const auto& row : rows_) REQUIRE(row.size() == rows_.front().size());
  }
  [[nodiscard]] std::size_t rows() const { return rows_.size() - 1; }
  [[nodiscard]] const std::string& at(std::size_t row, const std::string& column) const {
    INFO(column);
    REQUIRE(places_.contains(column));
    return rows_[row + 1][places_.at(column)];
  }
  [[nodiscard]] bool has(const std::string& column) const { return places_.contains(column); }
  [[nodiscard]] double number(std::size_t row, const std::string& column) const { return std::stod(at(row, column)); }
  [[nodiscard]] double sum(const std::string& column) const {
    double all = 0;
    for (std::size_t row = 0; row < rows(); ++row) all += number(row, column);
    return all;
  }

 private:
  Rows rows_;
  std::map<std::string, std::size_t> places_;
};

}  // namespace

TEST_CASE("what nodes tell of their cells is what the series says they were") {
  const program::Folder folder;
  folder.write("busy.txtpb", busy);
  REQUIRE(folder.run("run busy.txtpb --for 100min --seed 5 --capture busy.cap").exit_code == 0);
  const auto ran = folder.run("measure busy.cap --series busy.csv --step 1s");
  CHECK(ran.err == "");
  REQUIRE(ran.exit_code == 0);
  const Table table(folder.read("busy.csv"));
  CHECK(table.rows() == 6'000);
  std::size_t compared = 0;
  double bled = 0;
  for (std::size_t row = 1; row < table.rows(); ++row) {
    REQUIRE(table.number(row, "time_s") == Approx(static_cast<double>(row)));
    for (const std::string cell : {"a1.0", "a2.0", "b.0", "b.1", "b.2", "b.3"}) {
      const std::string& told = table.at(row, cell + "_told_V");
      if (told.empty()) continue;
      // It was measured in this second or at the end of the one before.
      const double off = std::min(std::abs(std::stod(told) - table.number(row, cell + "_simulated_V")),
                                  std::abs(std::stod(told) - table.number(row - 1, cell + "_simulated_V")));
      INFO(cell << " at " << row);
      REQUIRE(off < 0.000502);
      ++compared;
    }
    bled += table.number(row, "a1_bled_simulated") + table.number(row, "b_bled_simulated");
  }
  CHECK(compared > 20'000);
  CHECK(bled > 1'000);
  // The state of charge follows the current: after a load of 8 min at 500 mA, 66.7 mAh of some 400 are gone, and more.
  CHECK(table.number(479, "a1.0_charge_simulated_pct") < table.number(0, "a1.0_charge_simulated_pct") - 15);
  CHECK(table.number(100, "current_simulated_A") == Approx(-0.5));
}

TEST_CASE("every exchange is in one row of the series, also of a thinned capture, whatever the step") {
  const program::Folder folder;
  folder.write("busy.txtpb", busy);
  REQUIRE(folder.run("run busy.txtpb --for 20min --capture all.cap --set 'every_hop.bit_error=1e-5'").exit_code == 0);
  REQUIRE(folder.run("run busy.txtpb --for 20min --capture some.cap --keep-one-in 50 --set 'every_hop.bit_error=1e-5'")
              .exit_code == 0);
  REQUIRE(folder.run("measure all.cap --series 1.csv --step 1s").exit_code == 0);
  REQUIRE(folder.run("measure all.cap --series 2.csv").exit_code == 0);
  REQUIRE(folder.run("measure all.cap --series 3.csv --step 10d").exit_code == 0);
  REQUIRE(folder.run("measure some.cap --series 4.csv --step 90s").exit_code == 0);
  const Table fine(folder.read("1.csv"));
  const Table coarse(folder.read("2.csv"));
  const Table one(folder.read("3.csv"));
  const Table thinned(folder.read("4.csv"));
  CHECK(fine.rows() == 1'200);
  CHECK(coarse.rows() == 2);
  CHECK(one.rows() == 1);
  CHECK(fine.sum("not_answered") > 10);
  for (const Table* other : {&coarse, &one, &thinned}) {
    CHECK(other->sum("exchanges") == fine.sum("exchanges"));
    CHECK(other->sum("not_answered") == fine.sum("not_answered"));
  }
  // What was so is worked out from states, which are never thinned.
  CHECK(thinned.at(13, "b.3_charge_simulated_pct") == one.at(0, "b.3_charge_simulated_pct"));
}

TEST_CASE("a series says what keeps it from being written") {
  const program::Folder folder;
  folder.write("busy.txtpb", busy);
  REQUIRE(folder.run("run busy.txtpb --for 10s --capture busy.cap").exit_code == 0);
  for (const std::string step : {"0.9s", "11d", "x", "1.0005s"}) {
    const auto ran = folder.run("measure busy.cap --series no.csv --step " + step);
    CHECK(ran.exit_code == 2);
    CHECK(ran.err.starts_with("hopbench: --step: "));
  }
  CHECK(folder.read("no.csv").empty());
  CHECK(folder.run("measure busy.cap --step 1s").exit_code == 2);
  folder.write("there.csv", "mine");
  const auto there = folder.run("measure busy.cap --series there.csv");
  CHECK(there.exit_code == 3);
  CHECK(there.err.find("there.csv") != std::string::npos);
  CHECK(folder.read("there.csv") == "mine");
  CHECK(folder.run("measure busy.cap --series no/where.csv").exit_code == 3);
  CHECK(folder.run("measure busy.cap --series /dev/full").exit_code == 3);
  REQUIRE(folder.run("run busy.txtpb --for 10s --seed 2 --capture other.cap").exit_code == 0);
  CHECK(folder.run("measure busy.cap other.cap --series two.csv").exit_code == 2);
}

TEST_CASE("the session in docs/measure.md goes as it says") {
  std::ifstream page(std::string(HOPBENCH_SOURCE_DIR) + "/docs/measure.md");
  REQUIRE(page);
  const program::Folder folder;
  std::filesystem::create_directory_symlink(std::string(HOPBENCH_SOURCE_DIR) + "/captures", folder.file("captures"));
  const auto programs = std::filesystem::path(HOPBENCH_BINARY).parent_path().string();
  std::string shown;
  std::string printed;
  bool inside = false;
  for (std::string line; std::getline(page, line);) {
    if (line.starts_with("```")) {
      inside = line == "```console";
    } else if (inside && line.starts_with("$ ")) {
      const auto ran =
          folder.shell("cd '" + folder.file("") + "' && PATH='" + programs + "':$PATH && " + line.substr(2));
      CHECK(ran.exit_code == 0);
      printed += ran.out;
    } else if (inside) {
      shown += line + "\n";
    }
  }
  REQUIRE(!printed.empty());
  CHECK(printed == shown);
}

}  // namespace hopbench
