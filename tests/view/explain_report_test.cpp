#include "view/explain_report.h"

#include <boost/json.hpp>
#include <sstream>

#include "support/catch.h"

using namespace hopbench;

namespace {

RunInfo run_of_three() {
  RunInfo run;
  run.scenario = "Aldermoor lock, two nodes (invented)";
  run.seed = 7;
  run.controller = "controller";
  run.nodes = {"n1", "n2"};
  run.links = {{1, "controller", "n1"}, {2, "n1", "n2"}, {3, "n2", "controller"}};
  return run;
}

Explanation invented() {
  Explanation explanation;
  explanation.sight = Sight::every_hop;
  explanation.headline = "Simulated: 1,000 exchanges.";
  explanation.vantage = "Every hop was seen.";
  explanation.where.hops.push_back({1, 60, 1000, 0.001, "Hop 2 (n1 -> n2) stands out."});
  CaseFinding finding;
  finding.which.family = Family::wire;
  finding.which.links = {1};
  finding.failures = 60;
  finding.title = "60 failed tries: frames damaged or lost on the wire on hop 2 (n1 -> n2)";
  finding.verdict = "Looks like " + std::string(40, 'w') + " " + std::string(60, 'x') + " (simulated).";
  finding.candidates = {{Mechanism::bursts, 4, "first", {}, 0, {}},
                        {Mechanism::contact, 3.5, "second", {}, 0, {}},
                        {Mechanism::cable, 1, "third", {}, 0, {}}};
  finding.tied = 2;
  finding.next = {"Do this.", false};
  explanation.cases.push_back(finding);
  return explanation;
}

}  // namespace

TEST_CASE("an explanation as text is no wider than a page and names what is as likely") {
  const auto text = explain_text(invented(), run_of_three(), nullptr);
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) {
    CAPTURE(line);
    CHECK(line.size() <= 80);
  }
  CHECK(text.find("also     as likely: contact. For: second.") != std::string::npos);
  CHECK(text.find("also     less likely: cable. For: third.") != std::string::npos);
  CHECK(text.find("What the simulation did") == std::string::npos);
}

TEST_CASE("what the simulation did stands apart and last") {
  CauseCounts causes;
  causes.tries[static_cast<std::size_t>(Cause::burst)] = 60;
  const auto text = explain_text(invented(), run_of_three(), &causes);
  const auto heading = text.find("What the simulation did (not used above)");
  REQUIRE(heading != std::string::npos);
  CHECK(text.find("60  burst") > heading);
}

TEST_CASE("an explanation as JSON can be read back, and says what is tied") {
  const auto document = boost::json::parse(explain_json(invented(), run_of_three(), nullptr)).as_object();
  CHECK(document.at("schema") == "hopbench.explanation/1");
  CHECK(document.at("vantage") == "every_hop");
  CHECK(document.if_contains("what_the_simulation_did") == nullptr);
  const auto& first = document.at("cases").as_array().at(0).as_object();
  CHECK(first.at("hops").as_array().at(0) == 2);
  const auto& candidates = first.at("candidates").as_array();
  REQUIRE(candidates.size() == 3);
  CHECK(candidates.at(0).at("mechanism") == "bursts");
  CHECK(candidates.at(1).at("tied_first").as_bool());
  CHECK_FALSE(candidates.at(2).at("tied_first").as_bool());
}

TEST_CASE("one caution stands before the first advice that is near a battery, in JSON beside each") {
  const std::string line(battery_caution());
  // Lines are broken where the page ends.
  const auto flowing = [](const std::string& text) {
    std::string out;
    for (const char c : text) {
      const bool blank = c == ' ' || c == '\n';
      if (!blank || (!out.empty() && out.back() != ' ')) out += blank ? ' ' : c;
    }
    return out;
  };
  const auto told = [&](const Explanation& what) { return flowing(explain_text(what, run_of_three(), nullptr)); };
  const auto times = [&](const std::string& text) {
    std::size_t count = 0;
    for (auto at = text.find(line); at != std::string::npos; at = text.find(line, at + 1)) ++count;
    return count;
  };
  auto explanation = invented();
  explanation.cases.push_back(explanation.cases.front());
  explanation.cases.push_back(explanation.cases.front());
  CHECK(times(told(explanation)) == 0);
  explanation.cases[1].next = {"Open the cable.", true};
  explanation.cases[2].next = {"Measure there.", true};
  auto text = told(explanation);
  CHECK(times(text) == 1);
  CHECK(text.find("caution " + line + " next Open the cable.") != std::string::npos);
  // Wherever advice comes first, the caution comes before it.
  explanation.cases[1].when.together = {"Change one.", true};
  text = told(explanation);
  CHECK(times(text) == 1);
  CHECK(text.find("caution " + line + " together Change one.") != std::string::npos);
  explanation.when.together = {"Change another.", true};
  text = told(explanation);
  CHECK(times(text) == 1);
  CHECK(text.find("Caution: " + line + " Change another.") != std::string::npos);
  explanation.where.next = {"Listen there.", true};
  text = told(explanation);
  CHECK(times(text) == 1);
  CHECK(text.find("Caution: " + line + " Listen there.") != std::string::npos);

  const auto document = boost::json::parse(explain_json(explanation, run_of_three(), nullptr));
  const boost::json::value beside(line);
  CHECK(document.at("where").at("caution") == beside);
  CHECK(document.at("where").at("next") == "Listen there.");
  CHECK(document.at("when").at("caution") == beside);
  CHECK(document.at("cases").at(0).at("caution").is_null());
  CHECK(document.at("cases").at(0).at("when").at("caution").is_null());
  CHECK(document.at("cases").at(1).at("when").at("caution") == beside);
  CHECK(document.at("cases").at(1).at("caution") == beside);
  CHECK(document.at("cases").at(2).at("caution") == beside);
}

TEST_CASE("names that would speak to the terminal are made harmless") {
  auto explanation = invented();
  explanation.cases.front().title = "on hop 2 (n1\x1b[2J -> n2)";
  CHECK(explain_text(explanation, run_of_three(), nullptr).find('\x1b') == std::string::npos);
}
