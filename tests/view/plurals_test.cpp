// One of a thing is told as one: texts made of counts of one.
#include "support/plurals.h"

#include "soak/soak.h"
#include "support/catch.h"
#include "text/property_terms.h"
#include "view/number_text.h"
#include "view/sample_summary.h"
#include "view/soak_report.h"
#include "view/sweep_report.h"
#include "view/what_if_report.h"

namespace hopbench {
namespace {

using namespace sample;

Requirement requirement(const std::string& that) {
  Requirement made;
  made.that = that;
  made.term = std::get<std::vector<PropertyTerm>>(parse_property(that)).front();
  made.acceptable = certain / 10'000;
  made.reject_risk = made.accept_risk = certain / 20;
  return made;
}

/// A run of one exchange that failed, or was answered, of a chain that goes through cycles of an hour.
std::string soak_of_one(bool fails) {
  Run run;
  run.info = ring(1);
  for (auto& entry : run.info.entries) entry.cells = 1;
  auto exchange = clean_exchange(run.info, 0, second);
  if (fails) {
    exchange.fixed.outcome = Outcome::lost;
    exchange.fixed.round_trip = -1;
    exchange.attempts[0].outcome = Outcome::lost;
  }
  run.events.emplace_back(std::move(exchange));
  constexpr Nanos hour = 3600 * second;
  run.until = hour;
  std::vector<Requirement> requirements;
  for (const char* that :
       {"failed <= 1%", "lost <= 1%", "check <= 1%", "unseen <= 1h", "failed <= 1", "round_trip max <= 1s"})
    requirements.push_back(requirement(that));
  Soak soak(requirements, 0, 2 * hour, hour);
  run.tell(soak.sink());
  while (soak.next_border() <= hour) soak.pass_border();
  SoakReport report(soak);
  report.scenario = "one";
  report.now = hour;
  report.until = 2 * hour;
  report.resumed = 1;
  report.detail_removed = 1;
  return soak_text(report) + soak_progress(report);
}

}  // namespace

TEST_CASE("plurals: what the tests look for is found") {
  for (const char* wrong :
       {"1 exchanges", "over 1 whole cycles none", "(1 tries)", "in\n1 places are", "1 byte were"}) {
    CAPTURE(wrong);
    CHECK_FALSE(wrong_plural(wrong).empty());
  }
  for (const char* right :
       {"1 exchange", "11 exchanges", "0.1 days", "1,001 frames", "1 of 2 frames", "1 us", "00:01 runs"}) {
    CAPTURE(right);
    CHECK(wrong_plural(right).empty());
  }
  CHECK(counted(1, "frame") == "1 frame");
  CHECK(counted(0, "frame") == "0 frames");
  CHECK(counted(4812, "frame") == "4,812 frames");
  CHECK(counted(1, "try", "tries") == "1 try");
  CHECK(counted(2, "try", "tries") == "2 tries");
}

TEST_CASE("plurals: a summary in which everything was once") {
  Run run;
  run.info = ring(1);
  run.events.emplace_back(clean_exchange(run.info, 0, 0));
  run.until = second;
  run.info.simulated = false;
  run.lateness = {1, 3'000'000, 4'000'000, 1, 400'000'000, 401'000'000, 1, 1, 31'000, 95'000};
  const FixedSummary fixed(run);
  auto summary = fixed.summary({1, 1, 1, true, 1, 1, 1, 1});
  summary.coverage = {1, 0, 1, 1, 1, second, 1, second, 1, 1};
  CHECK(wrong_plural(summary_table(summary, {})).empty());
  CHECK(summary_table(summary, {}).find("1 exchange was asked") != std::string::npos);
  summary.coverage.tallied_unanswered = 1;
  CHECK(wrong_plural(summary_table(summary, {})) == "");
  // Frames that died, one of each.
  Measures measures;
  measures.runs = 1;
  measures.links.resize(2);
  measures.links[0].frames_in = 1;
  measures.links[0].came_damaged = 1;
  measures.links[0].strays = 1;
  measures.links[0].symptoms[static_cast<std::size_t>(Symptom::parity)] = 1;
  CHECK(wrong_plural(summary_table({run.info, measures, nullptr, {}}, {})) == "");
}

TEST_CASE("plurals: a soak of one exchange") {
  for (const bool fails : {false, true}) {
    const std::string text = soak_of_one(fails);
    INFO(text);
    CHECK(wrong_plural(text) == "");
    CHECK(text.find("Resumed 1 time.") != std::string::npos);
    CHECK(text.find("1 whole cycle of 60.0 min") != std::string::npos);
  }
}

TEST_CASE("plurals: a sweep of one point, and a study with one of everything") {
  Sweep sweep;
  sweep.plan.varied = {{"baud", {"9600"}}};
  sweep.runs = 1;
  sweep.rows.emplace_back();
  sweep.rows[0].values = {"9600"};
  sweep.rows[0].runs = 1;
  sweep.rows[0].asked = 1;
  sweep.rows[0].failed = 1;
  sweep.rows[0].share.share = share_of(1, 1);
  sweep.rows[0].causes = {{Cause::clock, 1}};
  CHECK(wrong_plural(sweep_text(sweep, {})) == "");
  sweep.rows.clear();
  sweep.runs = 0;
  CHECK(wrong_plural(sweep_text(sweep, {})) == "");

  WhatIf found;
  found.asked = found.failed = found.none_asked = found.runs = found.either = 1;
  found.unit = 86'400 * second;
  MechanismFinding each;
  each.off = {1, 0, 1, 0, 1, Share{1, 0, 1}, 1000, 1, 0, 1, {}};
  each.only = {1, 1, 0, 1, 1, Share{0, 0, 1}, 1000, 0, 1, 1, {}};
  each.not_alone = 1;
  found.mechanisms = {each};
  found.together = {{Mechanism::clock, Mechanism::charger, 1}};
  const std::string text = what_if_text("one", 1, found);
  INFO(text);
  CHECK(wrong_plural(text) == "");
  CHECK(text.find("1 of 1") != std::string::npos);
}

}  // namespace hopbench
