// `coexist` as a user runs it: its exit codes, its reports for other programs, and commands that repeat a breach.
#include <boost/json/parse.hpp>
#include <boost/json/value.hpp>
#include <fstream>
#include <sstream>
#include <string>

#include "program.h"
#include "support/catch.h"

namespace hopbench {
namespace {

namespace json = boost::json;

const std::string captures = std::string(HOPBENCH_SOURCE_DIR) + "/captures/";
const std::string designs = captures + "designs.txtpb --old solo1 --old solo2 --every-up-to 2 --longest 3 ";

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE("coexist: a kept matrix exits 0, a broken one 1, and one in which nothing could be tried 4") {
  const program::Folder folder;
  const auto kept = folder.run("coexist " + designs + "--new block --promise room --promise clocks");
  CHECK(kept.exit_code == 0);
  CHECK(has(kept.out, "Nothing speaks against it: all 2 promises that could be tried are kept."));
  CHECK(kept.err.empty());
  const auto broken = folder.run("coexist " + designs + "--new block_short_buffer --promise room");
  CHECK(broken.exit_code == 1);
  CHECK(has(broken.out, "NO: 1 of 1 promise that could be tried is broken."));
  CHECK(has(broken.out, "has no room in new2"));
  const auto untried = folder.run("coexist " + designs + "--new block --promise electrical");
  CHECK(untried.exit_code == 4);
  CHECK(has(untried.out, "Nothing is known"));
}

TEST_CASE("coexist: the command below a breach shows the same breach, alone") {
  const program::Folder folder;
  const auto broken = folder.run("coexist " + designs + "--new block_late_bleeding --json");
  REQUIRE(broken.exit_code == 1);
  const json::value document = json::parse(broken.out);
  CHECK(document.at("schema") == "hopbench.coexist/1");
  CHECK(document.at("reality") == "simulated");
  CHECK(document.at("result") == "broken");
  std::size_t broken_ones = 0;
  for (const json::value& promise : document.at("promises").as_array()) {
    if (promise.at("breach").is_null()) continue;
    ++broken_ones;
    const std::string command(promise.at("breach").at("command").as_string());
    CAPTURE(command);
    REQUIRE(command.starts_with("hopbench "));
    const auto again = folder.run(command.substr(9) + " --json");
    CHECK(again.exit_code == 1);
    const json::value repeated = json::parse(again.out);
    REQUIRE(repeated.at("promises").as_array().size() == 1);
    CHECK(repeated.at("promises").at(0).at("breach").at("what") == promise.at("breach").at("what"));
    CHECK(repeated.at("promises").at(0).at("breach").at("order") == promise.at("breach").at("order"));
    CHECK(repeated.at("orders").at("tried") == 1);
  }
  CHECK(broken_ones >= 1);
}

TEST_CASE("coexist: the JUnit report is one by its schema, and TAP is what its reader takes") {
  const program::Folder folder;
  for (const std::string kind : {"block", "block_forgets_topic"}) {
    CAPTURE(kind);
    const bool good = kind == "block";
    const auto ran = folder.run("coexist " + designs + "--new " + kind + " --junit " + kind + ".xml --tap");
    CHECK(ran.exit_code == (good ? 0 : 1));
    const auto checked = folder.shell("xmllint --noout --schema '" HOPBENCH_SOURCE_DIR "/tests/cli/junit.xsd' '" +
                                      folder.file(kind + ".xml") + "'");
    CAPTURE(checked.err);
    CHECK(checked.exit_code == 0);
    CHECK(has(folder.read(kind + ".xml"), "<skipped message=\"nothing electrical is simulated"));
    CHECK(has(folder.read(kind + ".xml"), "<failure ") != good);
    // prove reads what a program prints; cat is that program.
    folder.write("result.tap", ran.out);
    const auto proved = folder.shell("cd '" + folder.file(".") + "' && prove --exec cat result.tap");
    CAPTURE(proved.out, proved.err);
    CHECK(proved.exit_code == (good ? 0 : 1));
    CHECK(has(proved.out, good ? "Result: PASS" : "Result: FAIL"));
    // Without --force nothing is replaced.
    CHECK(folder.run("coexist " + designs + "--new " + kind + " --junit " + kind + ".xml").exit_code == 2);
  }
}

TEST_CASE("coexist: what cannot be tried is refused in one line that says what would be right") {
  const program::Folder folder;
  const auto refused = [&](const std::string& arguments, const std::string& what) {
    const auto ran = folder.run("coexist " + arguments);
    CAPTURE(arguments, ran.err);
    CHECK(ran.exit_code == 2);
    CHECK(ran.out.empty());
    CHECK(has(ran.err, what));
    CHECK(ran.err.find('\n') == ran.err.size() - 1);
  };
  refused(captures + "designs.txtpb --new nothing", "no kind \"nothing\"; it has solo1, solo2, block");
  refused(captures + "designs.txtpb --new block --old solo1 --old solo1", "\"solo1\" is named twice");
  refused(captures + "ring16.txtpb --new single", "name an old kind with --old");
  refused(designs + "--new block --promise hope", "there is no promise \"hope\"; there are old-answers, passes-on");
  refused(designs + "--new block --order solo1,eight", "\"eight\" is neither the new kind nor an old one");
  refused(designs + "--new block --order 'solo1*0'", "write KIND or KIND*N");
  refused(designs + "--new block --order 'solo1*201'", "write KIND or KIND*N");
  refused(designs + "--new block --order 'solo1*99999999999999999999'", "write KIND or KIND*N");
  refused(captures + "designs.txtpb --new solo1 --old block_short_buffer",
          "the plan asks no node of the kind \"block_short_buffer\"");
}

TEST_CASE("coexist: the board in the page has no room for its answer in old nodes, asked in two parts it has") {
  const program::Folder folder;
  std::ifstream in(std::string(HOPBENCH_SOURCE_DIR) + "/docs/coexist.md");
  std::ostringstream read;
  read << in.rdbuf();
  const std::string page = read.str();
  const std::string fence = "```txtpb\n";
  const std::size_t from = page.find(fence) + fence.size();
  std::string own = page.substr(from, page.find("```", from) - from);
  folder.write("own.txtpb", own);
  const auto whole = folder.run("coexist own.txtpb --new board --promise room");
  CHECK(whole.exit_code == 1);
  CHECK(has(whole.out, "a frame of 40 characters has no room in old1"));
  const std::size_t poll = own.find("  poll {");
  REQUIRE(poll != std::string::npos);
  own = own.substr(0, poll) + R"(
  poll { name: "cells" topic: "readings" nodes: ["a1", "a2"] with { field: "first" value: 0 } with { field: "count" value: 1 } }
  poll { name: "low" topic: "readings" nodes: "n" with { field: "first" value: 0 } with { field: "count" value: 6 } }
  poll { name: "high" topic: "readings" nodes: "n" with { field: "first" value: 6 } with { field: "count" value: 6 } }
})";
  folder.write("parts.txtpb", own);
  const auto parts = folder.run("coexist parts.txtpb --new board --promise room");
  CAPTURE(parts.err, parts.out);
  CHECK(parts.exit_code == 0);
}

TEST_CASE("coexist: one thread or several, the same words") {
  const program::Folder folder;
  const auto one = folder.run("coexist " + designs + "--new block_hot_clock --threads 1");
  const auto three = folder.run("coexist " + designs + "--new block_hot_clock --threads 3");
  CHECK(one.exit_code == 1);
  CHECK(one.out == three.out);
}

}  // namespace hopbench
