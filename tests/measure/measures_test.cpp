#include "measure/measures.h"

#include "measure/causes.h"
#include "measure/fan_out.h"
#include "measure/sample_run.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

namespace {

/// Two clean exchanges; one damaged on link 1 and passed on bad; one lost on link 0, tried twice, then refused.
Run small_run() {
  Run run;
  run.info = ring(3);
  run.events.emplace_back(clean_exchange(run.info, 0, 0));
  run.events.emplace_back(clean_exchange(run.info, 2, 1 * second));

  auto garbled = clean_exchange(run.info, 1, 2 * second);
  garbled.fixed.outcome = Outcome::garbled;
  garbled.fixed.round_trip = -1;
  garbled.rows[1].symptom = Symptom::check;
  garbled.rows[2].symptom = Symptom::check;
  garbled.rows[2].inherited = true;
  garbled.rows.pop_back();
  garbled.row_truth = {{1, Cause::bit_noise, 0xffffffff, 17, false}, {2, Cause::inherited, 0xffffffff, 17, false}};
  garbled.attempt_truth = {{Cause::bit_noise, 0xffff, 1, 0xffffffff}};
  run.events.emplace_back(garbled);

  auto lost = clean_exchange(run.info, 3, 3 * second);
  lost.fixed.outcome = Outcome::refused;
  lost.rows[0].symptom = Symptom::nothing;
  lost.attempts[0].outcome = Outcome::lost;
  lost.attempts.push_back({4 * second, 4 * second, Outcome::refused});
  lost.attempt_truth = {{Cause::contact, 0xffff, 0, 0xffffffff}, {Cause::refused_by_node, 0, 0xffff, 0xffffffff}};
  lost.row_truth = {{0, Cause::contact, 0xffffffff, 0, false}, {3, Cause::injected_corruption, 1, 4, true}};
  run.events.emplace_back(lost);
  run.events.emplace_back(OwnedStray{{5 * second, 3, {}, Symptom::none, 3}, {1, 2, 3}});
  run.events.emplace_back(OwnedArrival{{6 * second, true, {}, {}}, {1, 2, 3, 4}, {}});
  run.until = 10 * second;
  return run;
}

}  // namespace

TEST_CASE("frames are counted on the link they were lost on, once") {
  MeasureFold fold;
  small_run().tell(fold);
  const auto& links = fold.measures().links;
  REQUIRE(links.size() == 4);
  CHECK(links[0].frames_in == 4);
  CHECK(links[0].frames_out == 3);
  CHECK(links[0].symptoms[static_cast<std::size_t>(Symptom::nothing)] == 1);
  CHECK(links[1].frames_in == 4);
  CHECK(links[1].frames_out == 3);
  CHECK(links[1].symptoms[static_cast<std::size_t>(Symptom::check)] == 1);
  // What came in bad is no loss of this link.
  CHECK(links[2].frames_in == 3);
  CHECK(links[2].frames_out == 3);
  CHECK(links[2].came_damaged == 1);
  CHECK(links[2].symptoms[static_cast<std::size_t>(Symptom::check)] == 0);
  CHECK(links[3].strays == 1);
  for (const auto& link : links) {
    CHECK(link.transit.count() == link.frames_out);
    std::uint64_t sum = 0;
    for (const auto count : link.symptoms) sum += count;
    CHECK(sum == link.frames_in);
  }
  CHECK(links[0].transit.most() == 12'500'000);
  CHECK(links[3].transit.most() == 20'833'333);
}

TEST_CASE("exchanges are counted in all, by node and by topic") {
  MeasureFold fold;
  small_run().tell(fold);
  const auto& m = fold.measures();
  CHECK(m.all.asked == 4);
  CHECK(m.all.tries == 5);
  CHECK(m.all[Outcome::answered] == 2);
  CHECK(m.all[Outcome::garbled] == 1);
  CHECK(m.all[Outcome::refused] == 1);
  CHECK(m.all.round_trip.count() == 3);
  REQUIRE(m.nodes.size() == 4);
  CHECK(m.nodes[0].asked == 2);
  CHECK(m.nodes[1].asked == 1);
  CHECK(m.nodes[2].asked == 1);
  CHECK(m.nodes[3].asked == 0);
  REQUIRE(m.topics == std::vector<std::string>{"readings", "limits"});
  CHECK(m.by_topic[0].asked == 3);
  CHECK(m.by_topic[1].asked == 1);
  CHECK(m.arrivals == 4);
  CHECK(m.until == 10 * second);
  CHECK(m.ended);
}

TEST_CASE("causes are counted by try, undetected damage by link, and only where they are known") {
  CauseFold fold;
  small_run().tell(fold);
  const auto& counts = fold.counts();
  CHECK(counts.known);
  CHECK(counts.tries[static_cast<std::size_t>(Cause::bit_noise)] == 1);
  CHECK(counts.tries[static_cast<std::size_t>(Cause::contact)] == 1);
  CHECK(counts.tries[static_cast<std::size_t>(Cause::refused_by_node)] == 1);
  CHECK(counts.tries[static_cast<std::size_t>(Cause::inherited)] == 0);
  CHECK(counts.tries[static_cast<std::size_t>(Cause::none)] == 0);
  CHECK(counts.undetected == std::vector<std::uint64_t>{0, 0, 0, 1});
  auto run = small_run();
  run.info.truth_known = false;
  CauseFold other;
  run.tell(other);
  CHECK_FALSE(other.counts().known);
}

TEST_CASE("measures of two halves of a run are joined into those of the whole") {
  const auto run = wild_run(51, 400);
  MeasureFold whole;
  CauseFold whole_causes;
  FanOut both{&whole, &whole_causes};
  run.tell(both);
  MeasureFold halves[2];
  CauseFold causes[2];
  for (int half = 0; half < 2; ++half) {
    FanOut sinks{&halves[half], &causes[half]};
    sinks.begin(run.info);
    for (std::size_t i = 0; i < run.events.size(); ++i) {
      if ((i < 200) == (half == 0)) run.tell_event(i, sinks);
    }
    sinks.end(run.until, half == 0 ? Lateness{} : run.lateness);
  }
  Measures joined = halves[0].measures();
  joined.append(halves[1].measures());
  CHECK(joined == whole.measures());
  CauseCounts merged_causes = causes[0].counts();
  merged_causes.merge(causes[1].counts());
  CHECK(merged_causes == whole_causes.counts());
  joined.all.tries += 1;
  CHECK_FALSE(joined == whole.measures());
}

TEST_CASE("the truth that is handed along changes no measure") {
  const auto run = wild_run(52, 200);
  auto without = run;
  for (auto& event : without.events) {
    if (auto* exchange = std::get_if<OwnedExchange>(&event)) exchange->has_truth = false;
  }
  MeasureFold a;
  MeasureFold b;
  run.tell(a);
  without.tell(b);
  CHECK(a.measures() == b.measures());
}

TEST_CASE("values from a capture of a later version are passed over") {
  Run run;
  run.info = ring(2);
  auto odd = clean_exchange(run.info, 0, 0);
  odd.fixed.outcome = static_cast<Outcome>(200);
  odd.fixed.entry = 1000;
  odd.fixed.node = 1000;
  odd.rows[0].link = 1000;
  odd.rows[1].symptom = static_cast<Symptom>(200);
  run.events.emplace_back(odd);
  MeasureFold fold;
  run.tell(fold);
  CHECK(fold.measures().all.asked == 1);
  CHECK(fold.measures().links[1].frames_in == 1);
  CHECK(fold.measures().links[1].frames_out == 0);
}
