#include "view/short_names.h"

#include <set>

#include "support/catch.h"
#include "view/number_text.h"

using namespace hopbench;

TEST_CASE("names are cut in the middle so that they stay different") {
  std::vector<std::string> names{"controller"};
  for (int i = 1; i <= 250; ++i) names.push_back("pump-house-north-rack-1-node-" + std::to_string(i));
  for (const std::size_t width : {8U, 10U, 20U}) {
    CAPTURE(width);
    const auto shorter = short_names(names, width);
    REQUIRE(shorter.size() == names.size());
    for (const auto& name : shorter) CHECK(characters_in(name) <= width);
    CHECK(std::set<std::string>(shorter.begin(), shorter.end()).size() == names.size());
  }
  CHECK(short_names({"pump-house-north", "pump-house-south"}, 9) == std::vector<std::string>{"pump~orth", "pump~outh"});
  // Those that differ at their beginnings only.
  CHECK(short_names({"north-rack-of-the-pump-house", "south-rack-of-the-pump-house"}, 5) ==
        std::vector<std::string>{"no~se", "so~se"});
}

TEST_CASE("short names stay as they are, and none can speak to a terminal") {
  CHECK(short_names({"a1", "b\x1b[2J"}, 8) == std::vector<std::string>{"a1", "b?[2J"});
  CHECK(short_names({"Schleusenwärterhäuschen"}, 7) == std::vector<std::string>{"Sch~hen"});
  CHECK(short_names({"äöüßäöüß"}, 5) == std::vector<std::string>{"äö~üß"});
  CHECK(short_names({}, 5).empty());
}
