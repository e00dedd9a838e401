// A node's wrong address in a scenario's text: read as it stands, refused where the node or the bus cannot have it.
#include <string>

#include "support/catch.h"
#include "text/bench.h"

namespace hopbench {
namespace {

/// The line that is told of the good scenario with this behind its nodes.
std::string told_of(const std::string& wrong, const std::string& kind = "kind { name: \"single\" }") {
  const std::string nodes = "nodes { name: \"a\" count: 3 kind: \"single\" }";
  std::string text = bench::spoilt(nodes, nodes + " " + wrong);
  const std::string plain = "kind { name: \"single\" }";
  text.replace(text.find(plain), plain.size(), kind);
  const bench::Loaded loaded = bench::load(text);
  if (!has_errors(loaded.problems)) return {};
  REQUIRE(loaded.problems.size() == 1);
  return loaded.shown.substr(0, loaded.shown.find('\n'));
}

}  // namespace

TEST_CASE("wrong addresses arrive at their nodes", "[wrong_address]") {
  const std::string nodes = "nodes { name: \"a\" count: 3 kind: \"single\" }";
  const auto scenario = bench::load_good(bench::spoilt(
      nodes, nodes + " wrong_address { node: \"a1\" address: 2 } wrong_address { node: \"a2\" address: 1 }"));
  const auto& all = scenario.chain.nodes;
  CHECK(all.at(0).goes_by == 2U);
  CHECK(all.at(1).goes_by == 1U);
  CHECK_FALSE(all.at(2).goes_by);
  CHECK(all.at(0).address == 1);
}

TEST_CASE("a wrong address that cannot be is refused, and it is said why", "[wrong_address]") {
  const auto ends = [](const std::string& line, const std::string& what) {
    INFO(line);
    CHECK(line.find("s.txtpb:4:") == 0);
    CHECK(line.find(what) != std::string::npos);
  };
  ends(told_of("wrong_address { node: \"b1\" address: 2 }"), "there is no node \"b1\"");
  ends(told_of("wrong_address { address: 2 }"), "there is no node \"\"");
  ends(told_of("wrong_address { node: \"a1\" }"), "a wrong address needs the address that a1 goes by");
  ends(told_of("wrong_address { node: \"a1\" address: 1 }"), "1 is the address of a1 already");
  ends(told_of("wrong_address { node: \"a1\" address: 255 }"), "no node may have the address 255");
  ends(told_of("wrong_address { node: \"a1\" address: 300 }"), "no node may have the address 300");
  ends(told_of("wrong_address { node: \"a1\" address: 2 } wrong_address { node: \"a1\" address: 3 }"),
       "a1 has a wrong address already");
  ends(told_of("wrong_address { node: \"a1\" address: 2 }", "kind { name: \"single\" flaw { address_bits: 1 } }"),
       "keeps only some bits");
}

}  // namespace hopbench
