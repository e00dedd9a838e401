// How failures lie in time, told of frames that were damaged by the count.
#include <memory>
#include <set>

#include "made_up.h"
#include "study/evidence_fold.h"
#include "study/explanation.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

/// Of each fifty frames on link 5 those with these places are damaged.
CaseFinding damaged_at(const std::set<int>& places) {
  made_up::Plan plan;
  plan.days = 2;
  const auto count = std::make_shared<int>(0);
  plan.damage = [count, places](std::size_t link, const made_up::Around&) {
    return link == 5 && places.contains((*count)++ % 50) ? 1.0 : 0.0;
  };
  EvidenceFold fold;
  made_up::tell(plan, fold);
  const auto explanation = explain(fold.evidence(), Reality::simulated);
  REQUIRE(explanation.cases.size() == 1);
  return explanation.cases.front();
}

}  // namespace

TEST_CASE("failures with a good frame between them are told as each by itself") {
  for (const std::set<int>& places : {std::set{0}, std::set{0, 2}, std::set{0, 2, 4, 6}}) {
    const auto finding = damaged_at(places);
    INFO(finding.spread);
    CHECK(finding.spread.ends_with(", each by itself"));
  }
}

TEST_CASE("failures straight after another are told as runs, beside those that are by themselves") {
  // Two days of 4,320 frames each: 172 times fifty, and the first forty once more.
  const auto pairs = damaged_at({0, 1});
  INFO(pairs.spread);
  CHECK(pairs.failures == 346);
  CHECK(pairs.spread.find(", 173 runs of two or more; at most 2 failures and 20 s in one run") != std::string::npos);
  const auto mixed = damaged_at({0, 3, 4, 5, 6, 9});
  INFO(mixed.spread);
  CHECK(mixed.failures == 1038);
  CHECK(mixed.spread.find("346 single failures and 173 runs of two or more; at most 4 failures and 60 s in one run") !=
        std::string::npos);
  CHECK(mixed.spread.find("each by itself") == std::string::npos);
}
