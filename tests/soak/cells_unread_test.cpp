// Which cells went unread longest: told as the run's summary tells it, and of cells that nothing asks for as well.
#include "soak/cells_unread.h"

#include <algorithm>
#include <variant>
#include <vector>

#include "support/catch.h"

namespace hopbench {
namespace {

PropertyTerm term(const std::string& text) { return std::get<std::vector<PropertyTerm>>(parse_property(text)).front(); }

/// Two nodes of four cells, asked for the first two of b1 together and the last two of b2 one by one.
struct Made {
  RunInfo run;
  Measures measures;

  Made() {
    run.nodes = {"b1", "b2"};
    run.cells = {4, 4};
    measures.runs = 1;
    measures.from = 0;
    measures.until = 100 * second;
    add(0, 0, 2, {10, 30, 90});
    add(1, 2, 1, {20, 60, 95});
    add(1, 3, 1, {25, 85, 90});
  }
  void add(std::uint16_t node, std::uint32_t first, std::uint32_t cells, const std::vector<int>& seconds) {
    CellsUnseen group;
    group.node = node;
    group.first_cell = first;
    group.cells = cells;
    for (const int each : seconds) group.seen(each * second);
    measures.cells.push_back(group);
  }
};

}  // namespace

TEST_CASE("cells that nothing asks for were never read, for all that was covered") {
  Made made;
  const auto all = longest_unread(term("unseen <= 1s"), made.run, made.measures);
  CHECK(all == CellsUnread{"b1", 2, 2, false, 100 * second, 0});
  // In front of others, and between them.
  CHECK(longest_unread(term("unseen <= 1s at b2"), made.run, made.measures) ==
        CellsUnread{"b2", 0, 2, false, 100 * second, 0});
  made.measures.from = 40 * second;
  CHECK(longest_unread(term("unseen <= 1s"), made.run, made.measures)->from == 40 * second);
}

TEST_CASE("of cells that are asked for those that went unread longest, and since when") {
  Made made;
  made.run.cells = {2, 0};
  CHECK(longest_unread(term("unseen <= 1s at b1"), made.run, made.measures) ==
        CellsUnread{"b1", 0, 2, true, 60 * second, 30 * second});
  CHECK(longest_unread(term("unseen <= 1s at b9"), made.run, made.measures) == std::nullopt);
  // One that is asked for and never answers comes before one that went as long.
  made.measures.cells[1] = {};
  made.measures.cells[1].node = 1;
  made.measures.cells[1].first_cell = 2;
  made.measures.cells[1].cells = 1;
  made.run.cells = {2, 0};
  const auto silent = longest_unread(term("unseen <= 1s"), made.run, made.measures);
  REQUIRE(silent);
  CHECK(silent->node == "b2");
  CHECK_FALSE(silent->ever_read);
  CHECK(silent->span == 100 * second);
}

TEST_CASE("nothing was covered yet") {
  Made made;
  made.measures.from = never;
  CHECK(longest_unread(term("unseen <= 1s"), made.run, made.measures) == std::nullopt);
}

}  // namespace hopbench
