// The harness that tells how often explain is right, looked at by itself.
#include <algorithm>
#include <filesystem>
#include <map>
#include <tuple>

#include "chain/chain.h"
#include "seen/ignoring_sink.h"
#include "study/rates/foreign.h"
#include "study/rates/report.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::rates;

namespace {

/// Noise on the hop into a3, and answers of b2 held back.
const char* const two_things = R"(name: "two"
run_for: "40min"
bus: "bench-frame"
baud: 19200
shape: RING
kind { name: "single" }
nodes { name: "a" count: 4 kind: "single" }
nodes { name: "b" count: 2 kind: "single" }
hop { into: "a3" bit_error: "5e-5" }
fault { name: "slow" class: DELAY nodes: "b2" leg: ANSWERS into: "controller" rate: "10%" by: "350ms" }
controller { time_out: "300ms" gap: "5ms"
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } } }
)";

HiddenCase two_hidden() {
  HiddenCase hidden{1, two_things, {}, false};
  hidden.hidden.push_back({Mechanism::bit_noise, "noise", {{2}, {}, false}, 100});
  hidden.hidden.push_back({Mechanism::injected, "DELAY", {{}, {5}, false}, 100});
  return hidden;
}

/// The case in which most damage of the wire is, with these named first.
Explanation naming(Explanation explanation, Family family, const std::vector<Mechanism>& first) {
  for (CaseFinding& finding : explanation.cases) {
    if (finding.which.family != family) continue;
    finding.candidates.clear();
    for (const Mechanism mechanism : first) {
      Candidate candidate;
      candidate.mechanism = mechanism;
      finding.candidates.push_back(candidate);
    }
    finding.tied = first.size();
  }
  return explanation;
}

/// Every exchange as a tuple that can be compared.
class Taker final : public IgnoringSink {
 public:
  using Row = std::tuple<Nanos, std::uint16_t, bool, Symptom>;
  using Told = std::tuple<std::uint64_t, Nanos, Nanos, Nanos, Outcome, std::vector<Row>, std::vector<std::uint8_t>>;
  void exchange(const ExchangeObs& obs, const ExchangeTruth*) override {
    std::vector<Row> rows;
    for (const HopRow& row : obs.rows) rows.emplace_back(row.start, row.link, row.answering, row.symptom);
    all.emplace_back(obs.number, obs.start, obs.decided, obs.since_last, obs.outcome, std::move(rows),
                     std::vector<std::uint8_t>(obs.answered.begin(), obs.answered.end()));
  }
  std::vector<Told> all;
};

std::string paced(const std::string& fault) {
  return R"(name: "paced" run_for: "20min" bus: "bench-frame" baud: 19200 shape: RING
kind { name: "single" }
nodes { name: "a" count: 6 kind: "single" }
)" + fault +
         R"(
controller { time_out: "200ms" pace: "500ms"
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
})";
}

}  // namespace

TEST_CASE("chains to hide things in are valid scenarios, and healthy") {
  const std::vector<Wanted> needs{{},
                                  {.battery = true},
                                  {.balancing = true},
                                  {.electrical = true},
                                  {.by_character = true, .multi = true},
                                  {.multi = true, .bench_frame = true, .plain = true}};
  std::map<std::string, int> sick;
  for (std::uint64_t number = 1; number <= 200; ++number) {
    const Draft draft = base_chain(number, needs[number % needs.size()]);
    INFO(draft.text());
    REQUIRE_NOTHROW(loaded(draft.text()));
    std::string why;
    if (number % 10 == 0 && !habits_of(draft, why)) ++sick[why];
  }
  // A few meet something that fails by itself, such as a plan with nodes that do not know a topic; they are drawn anew.
  int all = 0;
  for (const auto& [why, count] : sick) all += count;
  CHECK(all <= 2);
}

TEST_CASE("a seed hides the same in the same chain, with enough failures by the truth") {
  for (const std::uint64_t seed : {7001U, 7002U, 7003U}) {
    const auto once = hidden_case(seed);
    const auto again = hidden_case(seed);
    REQUIRE(once);
    REQUIRE(again);
    CHECK(once->text == again->text);
    const auto run = run_case(once->text, once->as_told);
    for (const Hidden& hidden : once->hidden) {
      std::uint64_t failures = 0;
      for (const Incident& incident : run->hops.evidence().incidents)
        failures += mechanism_of(run->truth.why(incident).cause) == hidden.mechanism ? 1 : 0;
      INFO(seed << ' ' << hidden.name);
      CHECK(hidden.failures >= enough_failures);
      // A try that found its answer all the same has a cause only if it failed.
      CHECK(failures == hidden.failures);
      CHECK(run->truth.failures_of(hidden.mechanism) == hidden.failures);
    }
  }
}

TEST_CASE("a case that was kept is the case that was drawn") {
  const auto folder = std::filesystem::temp_directory_path() / "hopbench-kept-cases";
  std::filesystem::remove_all(folder);
  std::filesystem::create_directory(folder);
  for (const std::uint64_t seed : {7001U, 7004U, 7005U}) {
    const auto drawn = kept_case(seed, {}, folder.string());
    const auto read = kept_case(seed, {}, folder.string());
    REQUIRE(drawn);
    REQUIRE(read);
    CHECK(read->text == drawn->text);
    CHECK(read->as_told == drawn->as_told);
    REQUIRE(read->hidden.size() == drawn->hidden.size());
    for (std::size_t i = 0; i < drawn->hidden.size(); ++i) {
      const Hidden& a = drawn->hidden[i];
      const Hidden& b = read->hidden[i];
      CHECK(std::tie(b.mechanism, b.name, b.failures, b.planted.links, b.planted.nodes, b.planted.at_controller) ==
            std::tie(a.mechanism, a.name, a.failures, a.planted.links, a.planted.nodes, a.planted.at_controller));
    }
  }
  std::filesystem::remove_all(folder);
}

TEST_CASE("verdicts are as the names that are given first") {
  const HiddenCase hidden = two_hidden();
  const auto run = run_case(hidden.text, false);
  const auto explanation = explanation_of(*run, Eyes::every_hop, Effort::quick);
  using M = Mechanism;
  const auto noise = [&](const std::vector<M>& first) {
    const auto judged = judge(hidden, *run, naming(explanation, Family::wire, first), Eyes::every_hop);
    REQUIRE(judged.hidden.size() == 2);
    return judged.hidden.front().verdict;
  };
  CHECK(noise({M::bit_noise}) == Verdict::alone);
  CHECK(noise({M::bursts, M::bit_noise}) == Verdict::tied);
  CHECK(noise({M::bursts, M::contact, M::cable, M::clock, M::bit_noise}) == Verdict::wrong);
  CHECK(noise({M::bursts}) == Verdict::wrong);
  CHECK(noise({}) == Verdict::none);

  SECTION("a case that is mostly another's") {
    Explanation joined = explanation;
    const auto late = std::find_if(joined.cases.begin(), joined.cases.end(),
                                   [](const CaseFinding& finding) { return finding.which.family == Family::late; });
    const auto wire = std::find_if(joined.cases.begin(), joined.cases.end(),
                                   [](const CaseFinding& finding) { return finding.which.family == Family::wire; });
    REQUIRE(late != joined.cases.end());
    REQUIRE(wire != joined.cases.end());
    // Sixty of the noise come into the case of the late ones.
    REQUIRE(late->which.incidents.size() > 60);
    late->which.incidents.insert(late->which.incidents.end(), wire->which.incidents.begin(),
                                 wire->which.incidents.begin() + 60);
    joined.cases.erase(wire);
    const auto late_one = joined.cases.begin();
    REQUIRE(late_one->which.family == Family::late);
    const auto judged = judge(hidden, *run, naming(joined, Family::late, {M::injected}), Eyes::every_hop);
    CHECK(judged.hidden[0].verdict == Verdict::merged);
    CHECK(judged.hidden[1].verdict == Verdict::alone);
    late_one->mixture = "some look different";
    CHECK(judge(hidden, *run, naming(joined, Family::late, {M::injected}), Eyes::every_hop).hidden[0].verdict ==
          Verdict::mixed);
  }
  SECTION("too few") {
    Explanation few = explanation;
    for (CaseFinding& finding : few.cases) finding.failures = enough_failures - 1;
    CHECK(judge(hidden, *run, few, Eyes::every_hop).hidden[0].verdict == Verdict::little);
  }
  SECTION("innocents are cases that name only what is not there") {
    HiddenCase other = hidden;
    other.hidden.pop_back();
    CHECK(judge(other, *run, naming(explanation, Family::late, {M::measurement}), Eyes::every_hop).innocent.size() ==
          1);
    CHECK(judge(other, *run, naming(explanation, Family::late, {M::measurement, M::bit_noise}), Eyes::every_hop)
              .innocent.empty());
  }
}

TEST_CASE("the same cases are judged alike on any number of threads") {
  Wish wish;
  wish.from = 7001;
  wish.cases = 4;
  const auto one = judged_cases(wish);
  wish.threads = 3;
  const auto three = judged_cases(wish);
  CHECK(hops_table(one) == hops_table(three));
  CHECK(controller_table(one) == controller_table(three));
  CHECK(list_of(one, Eyes::controller) == list_of(three, Eyes::controller));
}

TEST_CASE("a foreign post takes frames away as an injected fault does") {
  // What a scenario can say as well: nothing of a2 comes over the hop into a4 between two times.
  const auto tell = [](const std::string& text, const ForeignFault* fault) {
    const Scenario scenario = loaded(text);
    const Protocol protocol(scenario.bus);
    Taker taker;
    std::optional<ForeignPost> post;
    if (fault != nullptr) post.emplace(protocol, *fault, scenario.chain.controller.time_out, taker);
    Chain chain(protocol, scenario.chain, 1, Way::repeats, Seat::simulated, post ? static_cast<Sink&>(*post) : taker);
    REQUIRE(chain.run_until(scenario.chain.run_for));
    chain.finish({});
    return taker.all;
  };
  const auto injected = tell(paced("fault { name: \"gone\" class: LOSS nodes: \"a2\" leg: ANSWERS into: \"a4\" from: "
                                   "\"5min\" to: \"9min\" }"),
                             nullptr);
  const ForeignFault fault{"gone", "", {}, Symptom::nothing, [](const FrameOnHop& frame) {
                             return frame.exchange.node == 1 && frame.row.link == 3 && frame.row.answering &&
                                    frame.row.start >= 300 * second && frame.row.start < 540 * second;
                           }};
  const auto foreign = tell(paced(""), &fault);
  REQUIRE(injected.size() == foreign.size());
  for (std::size_t i = 0; i < injected.size(); ++i) {
    INFO(i);
    REQUIRE(injected[i] == foreign[i]);
  }
}

TEST_CASE("each foreign fault strikes, and strikes the frames of its rule only") {
  for (std::uint64_t seed = 7000; seed < 7000 + foreign_count; ++seed) {
    const ForeignCase made = foreign_case(seed);
    const Scenario scenario = loaded(made.text);
    const Protocol protocol(scenario.bus);
    std::optional<ForeignPost> post;
    const auto run = run_case(made.text, false, [&](Sink& to) -> Sink& {
      return post.emplace(protocol, made.fault, scenario.chain.controller.time_out, to);
    });
    INFO(seed << ' ' << made.fault.name << ' ' << made.fault.rule);
    CHECK(post->struck() >= enough_failures);
    CHECK(run->hops.evidence().failures == post->struck());
  }
}

TEST_CASE("sentences of the controller's view are held against the truth and the answers") {
  const HiddenCase hidden = two_hidden();
  const auto run = run_case(hidden.text, false);
  auto explanation = explanation_of(*run, Eyes::controller, Effort::quick);
  const auto accused = [&](std::uint16_t node, std::vector<std::uint16_t> alike) {
    NodeFinding finding;
    finding.node = node;
    finding.alike = std::move(alike);
    explanation.where.nodes = {finding};
    const auto claims = judge(hidden, *run, explanation, Eyes::controller).claims;
    const auto found =
        std::find_if(claims.begin(), claims.end(), [](const Claim& claim) { return claim.what == Claim::What::node; });
    REQUIRE(found != claims.end());
    return found->holds;
  };
  // The noise is between a2 and a3, nodes 1 and 2; the fault is with b2, node 5.
  CHECK(accused(1, {}));
  CHECK(accused(2, {}));
  CHECK(accused(5, {}));
  CHECK_FALSE(accused(0, {}));
  CHECK_FALSE(accused(3, {4}));
  CHECK(accused(3, {4, 5}));

  const Stretch& longest = run->controller.evidence().bursts.longest;
  REQUIRE(longest.failed > 0);
  CHECK_FALSE(run->answers.any(no_station, longest.from, longest.until));
  // Good answers stand at its ends.
  CHECK(run->answers.any(no_station, longest.from - 1, longest.until));
  CHECK(run->answers.any(no_station, longest.from, longest.until + 1));
  const auto claims = judge(hidden, *run, explanation, Eyes::controller).claims;
  const auto all_hold = [](const Claim& claim) { return claim.what == Claim::What::node || claim.holds; };
  CHECK(std::all_of(claims.begin(), claims.end(), all_hold));
}
