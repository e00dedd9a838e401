#include "study/rhythm.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <set>

#include "judge/independence.h"
#include "study/words.h"

namespace hopbench {
namespace {

constexpr double level = 0.001;
constexpr double most_others_in = 0.5;  // of what passed, in the stretch of a period
/// What clocks and their owners go by: a day, half of it, an hour and parts of it.
constexpr std::array<double, 7> clock_periods{86'400e9, 43'200e9, 3'600e9, 1'800e9, 900e9, 600e9, 60e9};
constexpr double least_edge = 0.1;  // of what passed
constexpr std::size_t edge_places = 128;
constexpr std::uint64_t least_run = 4;  // in the longest: shorter ones may be retries

std::optional<Edge> edge_of(const Evidence& evidence, const Placed& times, bool onset, double passed_each) {
  const double span = static_cast<double>(evidence.until - evidence.from);
  if (times.failed.empty() || times.passed.empty() || span <= 0) return std::nullopt;
  const double at = onset ? times.failed.front() : times.failed.back();
  const auto before = std::lower_bound(times.passed.begin(), times.passed.end(), at) - times.passed.begin();
  const auto outside = onset ? before : static_cast<std::ptrdiff_t>(times.passed.size()) - before;
  const double share = static_cast<double>(outside) / static_cast<double>(times.passed.size());
  // Failures near each other may be one event: places in time are the trials.
  std::set<std::size_t> places;
  for (const double one : times.failed) {
    places.insert(static_cast<std::size_t>(one / span * static_cast<double>(edge_places)));
  }
  Edge edge;
  edge.at = static_cast<Nanos>(at);
  edge.passed = static_cast<std::uint64_t>(std::llround(static_cast<double>(outside) * passed_each));
  edge.p = std::min(1.0, 2 * std::pow(1 - share, static_cast<double>(places.size())));
  if (share < least_edge || edge.p >= level) return std::nullopt;
  return edge;
}

std::optional<Runs> bursts_of(const Evidence& evidence, const Case& which, bool frames) {
  if (is_sample(evidence)) return std::nullopt;
  Runs found;
  std::uint64_t run = 0;
  for (const auto i : which.incidents) {
    run = evidence.incidents[i].good_before == 0 ? run + 1 : 1;
    if (run == 1) ++found.runs;
    found.longest = std::max(found.longest, run);
  }
  std::uint64_t trials = evidence.tries;
  if (frames) {
    trials = 0;
    for (const auto link : which.links) trials += evidence.links[link].frames;
    if (which.links.size() != 1) return std::nullopt;
  }
  const std::uint64_t hits = which.incidents.size();
  if (found.longest < least_run || trials <= hits) return std::nullopt;
  const auto n = static_cast<double>(hits);
  const auto all = static_cast<double>(trials);
  found.expected = n * (all - n + 1) / all;
  found.p = few_runs(hits, trials, found.runs);
  if (found.p >= level || static_cast<double>(found.runs) > 0.8 * found.expected) return std::nullopt;
  return found;
}

std::string chance(double p) { return p < 0.0001 ? "p below 0.0001" : "p " + words::chance(p); }

}  // namespace

Rhythm rhythm_of(const Evidence& evidence, const Case& which, bool frames, const Placed& times, const Placed& numbers,
                 double passed_each) {
  Rhythm found;
  const auto span = static_cast<double>(evidence.until - evidence.from);
  const auto gap = static_cast<double>(std::max<Nanos>(1, evidence.usual_gap));
  // What nearly everything does says nothing of failures.
  const auto idle = [](const std::optional<Periodic>& period) { return !period || period->others_in > most_others_in; };
  const auto fit = [&](std::optional<Periodic> period) {
    return period ? std::optional(fitted(*period, times.all_failed, times.passed, 0)) : std::nullopt;
  };
  found.in_time = fit(period_of(times.failed, times.passed, 0, span, 4 * gap));
  if (idle(found.in_time)) found.in_time = fit(period_among(clock_periods, times.failed, times.passed, 0, span));
  if (idle(found.in_time)) found.in_time.reset();
  if (!numbers.failed.empty()) {
    const double last = std::max(numbers.failed.back(), numbers.passed.empty() ? 0.0 : numbers.passed.back());
    found.in_frames = period_of(numbers.failed, numbers.passed, 0, last + 1, 32);
    if (found.in_frames) {
      found.in_frames = fitted(*found.in_frames, numbers.all_failed, numbers.passed, 0);
      // Frames are counted in whole numbers.
      found.in_frames->length = std::round(found.in_frames->length);
      found.in_frames->from = std::ceil(found.in_frames->from - 1e-6);
      found.in_frames->width = std::max(1.0, std::ceil(found.in_frames->width));
    }
  }
  if (idle(found.in_frames)) found.in_frames.reset();
  // A stretch of several frames is one of time, if it is one of time as well.
  if (found.in_time && found.in_frames && found.in_frames->width > 1) found.in_frames.reset();
  found.onset = edge_of(evidence, times, true, passed_each);
  found.end = edge_of(evidence, times, false, passed_each);
  found.bursts = bursts_of(evidence, which, frames);
  return found;
}

std::vector<std::string> sentences_of(const Rhythm& rhythm, const Case& which, bool frames,
                                      const ToldElsewhere& elsewhere) {
  std::vector<std::string> all;
  const char* const things = frames ? "frames" : "tries";
  const auto keep_step = [&](const Periodic& period, const std::string& stretch, const std::string& length) {
    all.push_back(fmt::format(
        "They keep step with a period: {} of {} begin in the same {} of every {}, where {} of what passed falls ({}, "
        "corrected for every period looked at).",
        words::count(period.in), words::counted(period.episodes, "episode"), stretch, length,
        words::share(period.others_in), chance(period.p)));
  };
  if (!elsewhere.period) {
    const auto& time = rhythm.in_time;
    const auto& number = rhythm.in_frames;
    if (time && (!number || time->p <= number->p)) {
      keep_step(*time, words::span(static_cast<Nanos>(time->width)), words::span(static_cast<Nanos>(time->length)));
    } else if (number) {
      keep_step(*number, fmt::format("{}", number->width), fmt::format("{} {}", number->length, things));
    }
  }
  if (rhythm.onset && !elsewhere.edges) {
    all.push_back(fmt::format("The first came {} after the capture began: {} {} passed before it ({}).",
                              words::span(rhythm.onset->at), words::count(rhythm.onset->passed), things,
                              chance(rhythm.onset->p)));
  }
  if (rhythm.end && !elsewhere.edges) {
    all.push_back(fmt::format("The last came {} after the capture began: {} {} passed after it ({}).",
                              words::span(rhythm.end->at), words::count(rhythm.end->passed), things,
                              chance(rhythm.end->p)));
  }
  if (rhythm.bursts && !elsewhere.bursts) {
    const Runs& runs = *rhythm.bursts;
    if (runs.runs == 1) {
      all.push_back(fmt::format("They came in one stretch: {} failures with nothing good between ({}).",
                                words::count(which.incidents.size()), chance(runs.p)));
      return all;
    }
    all.push_back(fmt::format(
        "They come in runs: {} failures in {} with nothing good between, the longest of {}. Chance would make {} runs "
        "({}).",
        words::count(which.incidents.size()), words::counted(runs.runs, "run"), words::count(runs.longest),
        words::count(static_cast<std::uint64_t>(std::llround(runs.expected))), chance(runs.p)));
  }
  return all;
}

}  // namespace hopbench
