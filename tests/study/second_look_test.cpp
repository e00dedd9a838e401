// A minority of a case's failures that may be something else's.
#include "study/second_look.h"

#include <algorithm>
#include <string>

#include "study/signatures.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

using M = Mechanism;

/// One hop of 40,000 frames, and failures on it, each by itself: so many damaged (a seventh of them at a stop bit), and
/// so many that did not come at all. All of it is invented.
struct Hop {
  Evidence evidence;
  Case which;

  Hop(int damaged, int gone) {
    evidence.sight = Sight::every_hop;
    evidence.tries = 40'000;
    evidence.from = 0;
    evidence.until = 40'000 * 100 * millisecond;
    evidence.run.controller = "controller";
    evidence.run.nodes = {"a"};
    evidence.run.links = {{1, "controller", "a"}, {2, "a", "controller"}};
    evidence.run.entries = {{"cells/a", "a", "readings"}};
    evidence.entries.resize(1);
    evidence.entries[0].tries = 40'000;
    evidence.entries[0].failures = static_cast<std::uint64_t>(damaged + gone);
    evidence.links.resize(2);
    evidence.links[0].frames = 40'000;
    evidence.moments.resize(1);
    evidence.moments[0].tries = 40'000;
    which.family = Family::wire;
    which.placed = true;
    which.links = {0};
    const int all = damaged + gone;
    for (int i = 0; i < all; ++i) {
      Incident incident;
      const bool is_gone = i * gone / all != (i + 1) * gone / all;  // evenly among the others
      incident.ending = is_gone ? Ending::nothing : Ending::damaged;
      incident.symptom = is_gone ? Symptom::nothing : i % 7 == 0 ? Symptom::framing : Symptom::check;
      incident.link = 0;
      incident.station = 0;
      incident.node = 0;
      incident.good_before = 50;
      incident.turn = static_cast<std::uint32_t>(97 * i);
      incident.at = 9'700 * millisecond * i;
      incident.until = incident.at + 10 * millisecond;
      ++evidence.links[0].symptoms[place_of(incident.symptom)];
      which.incidents.push_back(static_cast<std::uint32_t>(i));
      evidence.incidents.push_back(incident);
    }
  }
};

std::string told(const Judged& judged) {
  std::string text;
  for (const auto& each : judged.candidates)
    text += std::string(name_of(each.mechanism)) + " " + std::to_string(each.score) + ": " + each.evidence + "\n";
  for (const auto& each : judged.rejected)
    text += "not " + std::string(name_of(each.mechanism)) + ": " + each.fact + "\n";
  return text + std::to_string(judged.tied) + " tied\n";
}

bool tied(const Judged& judged, M mechanism) {
  const auto first = judged.candidates.begin();
  return std::any_of(first, first + static_cast<std::ptrdiff_t>(judged.tied),
                     [&](const Candidate& each) { return each.mechanism == mechanism; });
}

}  // namespace

TEST_CASE("noise with a minority of frames that vanish is tied with what would explain both") {
  const Hop hop(200, 50);
  auto judged = hopbench::judged(hop.evidence, hop.which);
  REQUIRE_FALSE(judged.candidates.empty());
  REQUIRE_FALSE(tied(judged, M::bit_noise));  // it makes no frame vanish
  const auto before = judged.tied;
  INFO(told(judged));
  look_again(hop.evidence, hop.which, {}, judged);
  INFO(told(judged));
  REQUIRE(tied(judged, M::bit_noise));
  CHECK(judged.tied == before + 1);
  CHECK(judged.tied <= 4);
  const auto noise = std::find_if(judged.candidates.begin(), judged.candidates.end(),
                                  [](const Candidate& each) { return each.mechanism == M::bit_noise; });
  CHECK(noise->against.find("not heard at all") != std::string::npos);
  CHECK(std::none_of(judged.rejected.begin(), judged.rejected.end(),
                     [](const Rejected& each) { return each.mechanism == M::bit_noise; }));
}

TEST_CASE("a verdict that holds without any minority stays as it is, and so does one with hardly any") {
  for (const int gone : {0, 3}) {
    CAPTURE(gone);
    const Hop hop(250, gone);
    auto judged = hopbench::judged(hop.evidence, hop.which);
    REQUIRE(tied(judged, M::bit_noise));
    const auto before = judged.tied;
    const auto first = judged.candidates.front().mechanism;
    look_again(hop.evidence, hop.which, {}, judged);
    CHECK(judged.tied == before);
    CHECK(judged.candidates.front().mechanism == first);
  }
}
