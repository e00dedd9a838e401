// What mechanisms do at a station, apart from holding answers up.
#include <fmt/format.h>

#include <algorithm>
#include <string>

#include "study/predictions.h"
#include "study/words.h"

namespace hopbench {
namespace {

using M = Mechanism;

class Station {
 public:
  explicit Station(const Looked& at) : at_(at) {}

  /// One that predicts this way for a frame to end, and nothing else of it.
  Hypothesis& by_kind(Mechanism mechanism, double chance, std::string text) {
    found.emplace_back(mechanism);
    if (mechanism == M::injected && at_.evidence.run.faults.empty()) {
      found.back().never(true, "nobody put in faults in this run");
    }
    return found.back().fact(true, chance, std::move(text));
  }
  std::vector<Hypothesis> found;

 private:
  const Looked& at_;
};

/// Frames that a station heard well and did nothing with.
void swallowed(const Looked& at, Station& station) {
  const auto& f = at.facts;
  const auto silent = fmt::format("frames end at a station that heard them well; the longest run of failures lasts {}",
                                  words::span(f.runs.longest_span));
  for (const auto mechanism : {M::supply, M::watchdog, M::injected}) {
    auto& h = station.by_kind(mechanism, 0.7, silent);
    h.never(f.off_told && f.off_starts == 0, "the station never went off");
    expect_restarts(h, f);
  }
  auto& busy = station.by_kind(M::busy_node, 0.7, "frames end at a station that heard them well");
  expect_conditions(busy, f, {0.1, 0.3, 0.1});
  if (f.off_told && f.off_starts > 0) busy.fact(true, 0.04, "the station went off now and then");
  auto& room = station.by_kind(M::room, 0.6, "a station heard frames well and passed them on no further");
  room.fact(f.one_entry > 0.9, 0.6, "they are of one plan entry");
  if (f.off_told && f.off_starts > 0) room.fact(true, 0.04, "the station went off now and then");
  auto& put_in = station.by_kind(M::injected, 0.7, "single frames end at a station that heard them well");
  put_in.share(f.runs.second_ones * f.n, f.n, {0, std::min(1.0, std::max(0.05, 3 * f.rate))},
               "failed straight after another frame");
}

}  // namespace

std::vector<Hypothesis> at_station(const Looked& at) {
  Station station(at);
  const auto place = words::place(at.evidence, at.which);
  switch (at.which.family) {
    case Family::no_room:
      station.by_kind(M::room, 0.95, "frames longer than its buffer came in " + place);
      break;
    case Family::swallowed:
      swallowed(at, station);
      break;
    case Family::changed:
      station.by_kind(M::injected, 0.9,
                      "frames were heard well " + place + " and were bad when they left: damaged in its memory");
      break;
    case Family::ignored:
      station.by_kind(M::controller, 0.9,
                      "every hop saw a good answer arrive in time, and the controller made nothing of it");
      station.by_kind(M::injected, 0.7,
                      "good answers came that were not what the controller waited for: put in, or altered");
      break;
    case Family::refused:
      station.by_kind(M::injected, 0.7, "a node said no: to a request that was not meant for it, or changed");
      break;
    case Family::mismatched:
      station.by_kind(M::injected, 0.8, "a good answer to another request came: repeated, delayed or out of order");
      station.by_kind(M::measurement, 0.6, "a late answer is taken for the next one's");
      break;
    case Family::bad_value:
      station.by_kind(M::measurement, 0.8, "values that were accepted were old, or not those of the cells");
      station.by_kind(M::injected, 0.7, "a masqueraded answer would pass so");
      break;
    case Family::truncated:
      station.by_kind(M::room, 0.95, "more values were asked for than an answer holds");
      break;
    case Family::bad_ask:
      station.by_kind(
          M::controller, 0.95,
          "what the controller sent was bad before it was on any hop: a wrong check or marker, half a frame, "
          "or bytes that are no frame");
      break;
    case Family::collided:
      station.by_kind(M::injected, 0.7, "two frames were on a hop at once: one was repeated, delayed or put in");
      station.by_kind(M::measurement, 0.6, "an answer came so late that it met the next ask");
      station.by_kind(M::busy_node, 0.6, "an answer came so late that it met the next ask");
      break;
    case Family::wire:
    case Family::late:
    case Family::unseen:
      break;
  }
  return std::move(station.found);
}

}  // namespace hopbench
