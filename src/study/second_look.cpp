#include "study/second_look.h"

#include <algorithm>
#include <array>
#include <optional>
#include <utility>

#include "study/signatures.h"

namespace hopbench {
namespace {

constexpr double least_minority = 0.03;  // what happens now and then with any mechanism
constexpr double most_minority = 0.35;
constexpr std::size_t least_left = 20;  // failures
constexpr std::size_t most_tied = 4;
constexpr double worse = 1;  // by which the first has to be behind then

/// Not those with a stop bit hit: whatever hits bits makes a minority of these.
using Kind = bool (*)(const Incident&);
constexpr std::array<Kind, 3> kinds{
    [](const Incident& each) { return each.symptom == Symptom::nothing; },
    [](const Incident& each) { return each.symptom == Symptom::too_short || each.symptom == Symptom::overrun; },
    [](const Incident& each) { return each.ending == Ending::damaged && each.symptom != Symptom::framing; },
};

/// The case without those; nothing if they are no minority.
std::optional<Case> without(const Evidence& evidence, const Case& which, Kind kind) {
  Case rest = which;
  rest.part = true;
  std::erase_if(rest.incidents, [&](std::uint32_t i) { return kind(evidence.incidents[i]); });
  const auto all = static_cast<double>(which.incidents.size());
  const double taken = (all - static_cast<double>(rest.incidents.size())) / all;
  if (taken < least_minority || taken > most_minority || rest.incidents.size() < least_left) return std::nullopt;
  find_places(evidence, rest);
  return rest;
}

bool among(const Judged& judged, std::size_t first, Mechanism mechanism) {
  return std::any_of(judged.candidates.begin(), judged.candidates.begin() + static_cast<std::ptrdiff_t>(first),
                     [&](const Candidate& each) { return each.mechanism == mechanism; });
}

double score_of(const Judged& judged, Mechanism mechanism) {
  const auto found = std::find_if(judged.candidates.begin(), judged.candidates.end(),
                                  [&](const Candidate& each) { return each.mechanism == mechanism; });
  return found == judged.candidates.end() ? -1e9 : found->score;
}

/// Moves it up, or puts it there with what rejected it as what speaks against it.
void tie(Judged& judged, Candidate found) {
  const auto same = [&](const auto& each) { return each.mechanism == found.mechanism; };
  const auto known = std::find_if(judged.candidates.begin(), judged.candidates.end(), same);
  const auto rejected = std::find_if(judged.rejected.begin(), judged.rejected.end(), same);
  if (known != judged.candidates.end()) {
    found.against = known->against;
    judged.candidates.erase(known);
  } else if (rejected != judged.rejected.end()) {
    found.against = rejected->fact;
    judged.rejected.erase(rejected);
  }
  found.score = judged.candidates[judged.tied - 1].score;
  judged.candidates.insert(judged.candidates.begin() + static_cast<std::ptrdiff_t>(judged.tied), std::move(found));
  ++judged.tied;
}

}  // namespace

void look_again(const Evidence& evidence, const Case& which, const Common& common, Judged& judged) {
  if (which.family != Family::wire || judged.candidates.empty()) return;
  const Mechanism first = judged.candidates.front().mechanism;
  for (const Kind kind : kinds) {
    const auto rest = without(evidence, which, kind);
    if (!rest || judged.tied >= most_tied) continue;
    auto again = hopbench::judged(evidence, *rest, &common);
    if (again.candidates.empty() || score_of(again, first) > again.candidates.front().score - worse) continue;
    if (among(judged, judged.tied, again.candidates.front().mechanism)) continue;
    tie(judged, std::move(again.candidates.front()));
  }
}

}  // namespace hopbench
