#include "study/property.h"

#include <array>
#include <string>

#include "base/luck.h"
#include "chain/chain.h"
#include "measure/fan_out.h"
#include "scenarios.h"

namespace hopbench {
namespace {

using study_tests::loaded;
using study_tests::six_nodes;

Property property(const std::string& text) {
  auto parsed = Property::parse(text);
  if (const auto* error = std::get_if<PropertyError>(&parsed))
    FAIL(text << ": column " << error->column << ": " << error->what);
  return std::get<Property>(parsed);
}

PropertyError refused(const std::string& text) {
  const auto parsed = Property::parse(text);
  INFO(text);
  REQUIRE(std::holds_alternative<PropertyError>(parsed));
  return std::get<PropertyError>(parsed);
}

/// Ten minutes of the ring of six.
struct Run {
  MeasureFold fold;
  CauseFold causes;
  Run() {
    const Scenario scenario = loaded(six_nodes);
    const Protocol protocol(scenario.bus);
    FanOut all{&fold, &causes};
    Chain chain(protocol, scenario.chain, 5, Way::repeats, Seat::simulated, all);
    REQUIRE(chain.run_until(600 * second));
    chain.finish({});
  }
  [[nodiscard]] PropertyView view() const { return {&fold.run(), &fold.measures(), &causes.counts()}; }
  [[nodiscard]] bool holds(const std::string& text) const { return property(text).holds(view()); }
};

/// That a count is `value`, and nothing else.
void check_count(const Run& run, const std::string& what, const std::string& scope, std::uint64_t value) {
  const std::string number = std::to_string(value);
  INFO(what << " " << scope << ": " << number);
  CHECK(run.holds(what + " = " + number + " " + scope));
  CHECK(run.holds(what + " >= " + number + " " + scope));
  CHECK(run.holds(what + " <= " + number + " " + scope));
  CHECK_FALSE(run.holds(what + " > " + number + " " + scope));
  CHECK_FALSE(run.holds(what + " < " + number + " " + scope));
  CHECK(run.holds(what + ">" + std::to_string(value == 0 ? 0 : value - 1) + " " + scope) == (value > 0));
}

}  // namespace

TEST_CASE("counts are those of the measures") {
  const Run run;
  const Measures measures = run.fold.measures();
  REQUIRE(measures.all[Outcome::lost] > 0);
  check_count(run, "asked", "", measures.all.asked);
  check_count(run, "lost", "", measures.all[Outcome::lost]);
  check_count(run, "failed", "", measures.all.asked - measures.all[Outcome::answered]);
  check_count(run, "lost", "at n2", measures.nodes[1][Outcome::lost]);
  check_count(run, "asked", "for line_health", measures.by_topic[1].asked);
  REQUIRE(measures.topics[1] == "line_health");
  check_count(run, "check_failures", "on hop 5", measures.links[4].symptoms[static_cast<std::size_t>(Symptom::check)]);
  check_count(run, "check", "into n5", measures.links[4].symptoms[static_cast<std::size_t>(Symptom::check)]);
  check_count(run, "bursts", "", measures.bursts.count());
  check_count(run, "longest_burst", "at n3", measures.node_bursts[2].longest_of_all()->length);
  check_count(run, "cause contact", "", run.causes.counts().tries[static_cast<std::size_t>(Cause::contact)]);
  check_count(run, "undetected", "on hop 4", run.causes.counts().undetected[3]);
}

TEST_CASE("shares, times and several comparisons") {
  const Run run;
  CHECK(run.holds("failed > 0%"));
  CHECK(run.holds("failed < 100%"));
  CHECK_FALSE(run.holds("failed > 99.9%"));
  CHECK(run.holds("round_trip p50 > 1us and round_trip max < 10s"));
  CHECK_FALSE(run.holds("round_trip p50 > 1us and round_trip max > 10s"));
  CHECK(run.holds("unseen > 1s at n3"));
  CHECK_FALSE(run.holds("unseen > 600s"));
}

TEST_CASE("what a run does not have is told, and does not hold") {
  const Run run;
  for (const std::string text :
       {"lost >= 0 at n7", "lost >= 0 for nothing", "check >= 0 on hop 8", "check >= 0 into x"}) {
    INFO(text);
    CHECK(property(text).misfit(run.view()));
    CHECK_FALSE(run.holds(text));
  }
  PropertyView blind = run.view();
  blind.causes = nullptr;
  CHECK(property("cause clock >= 0").misfit(blind));
  CHECK_FALSE(property("undetected >= 0").holds(blind));
}

TEST_CASE("hops can be named by where they lead") {
  const Run run;
  Property hop = property("check_failures > 0 on hop 5 and lost > 0");
  REQUIRE(hop.name_hops(run.fold.run()));
  CHECK(hop.terms()[0].scope == PropertyTerm::Scope::into);
  CHECK(hop.terms()[0].name == "n5");
  Property none = property("check_failures > 0 on hop 9");
  CHECK_FALSE(none.name_hops(run.fold.run()));
}

TEST_CASE("errors are told with their column") {
  CHECK(refused("").column == 1);
  CHECK(refused("lots > 0").column == 1);
  CHECK(refused("lost 0").column == 6);
  CHECK(refused("lost > many").column == 8);
  CHECK(refused("lost > 0 or late > 0").column == 10);
  CHECK(refused("lost > 0 and").column == 13);
  CHECK(refused("lost > 0 at").column == 12);
  CHECK(refused("lost > 0 on hop 3").column == 10);
  CHECK(refused("check > 0 on 3").column == 14);
  CHECK(refused("unseen > 30").column == 10);
  CHECK(refused("unseen > 30s for readings").column == 14);
  CHECK(refused("failed > 101%").column == 10);
  CHECK(refused("asked > 1%").column == 9);
  CHECK(refused("lost > -1").column == 8);
  CHECK(refused("lost > 0.5").column == 8);
  CHECK(refused("lost > 99999999999999999999").column == 8);
  CHECK(refused("round_trip > 1s").column == 12);
  CHECK(refused("round_trip p0 > 1s").column == 12);
  CHECK(refused("round_trip p101 > 1s").column == 12);
  CHECK(refused("cause > 0").column == 7);
  CHECK(refused("none > 0").column == 1);
  CHECK(refused(std::string(5000, 'x')).what == "too long");
}

TEST_CASE("any text is read or refused, and what is read can be asked of any run") {
  const Run run;
  const std::array<std::string, 30> words{
      "lost",  "late", "failed", "unseen", "round_trip", "p99",  "p99.9", "max",  "cause", "clock",
      "check", ">",    ">=",     "<",      "=",          "==",   "0",     "3",    "1%",    "30s",
      "at",    "n2",   "on",     "hop",    "for",        "into", "and",   "\xff", "%",     "-"};
  const StreamKey stream = Luck(1).stream(name_hash("property"), Purpose::test, 0);
  std::uint64_t next = 0;
  const auto up_to = [&](std::uint64_t most) { return below(most + 1, draw(stream, next++, 0)); };
  std::size_t read = 0;
  for (int i = 0; i < 100'000; ++i) {
    std::string text;
    const std::uint64_t count = up_to(1) == 0 ? 3 : up_to(9);
    for (std::uint64_t k = 0; k < count; ++k) text += words.at(up_to(words.size() - 1)) + (up_to(9) > 0 ? " " : "");
    if (up_to(4) == 0 && !text.empty()) text[up_to(text.size() - 1)] = static_cast<char>(up_to(255));
    const auto parsed = Property::parse(text);
    if (const auto* error = std::get_if<PropertyError>(&parsed)) {
      CHECK(error->column >= 1);
      CHECK(error->column <= text.size() + 1);
    } else {
      ++read;
      (void)std::get<Property>(parsed).holds(run.view());
    }
  }
  CHECK(read > 20);
}

}  // namespace hopbench
