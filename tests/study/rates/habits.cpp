#include "habits.h"

#include <fmt/format.h>

#include <algorithm>
#include <stdexcept>

#include "chain/chain.h"
#include "seen/ignoring_sink.h"

namespace hopbench::rates {
namespace {

class HabitFold final : public IgnoringSink {
 public:
  void begin(const RunInfo& run) override {
    habits.frames.assign(run.links.size(), 0);
    habits.bits = habits.frame_time = habits.frames;
    habits.asked.assign(run.nodes.size(), 0);
    habits.silences.assign(run.links.size(), {});
    heard_until.assign(run.links.size(), -1);
  }
  void exchange(const ExchangeObs& obs, const ExchangeTruth*) override {
    ++exchanges;
    if (exchanges == 1) first = obs.start;
    last = obs.start;
    if (obs.outcome != Outcome::answered || obs.attempts.size() > 1) ++failed;
    habits.round_trip = std::max(habits.round_trip, static_cast<double>(obs.round_trip));
    habits.mean_round_trip += static_cast<double>(obs.round_trip);
    if (obs.node < habits.asked.size()) ++habits.asked[obs.node];
    for (const HopRow& row : obs.rows) {
      ++habits.frames[row.link];
      habits.bits[row.link] += 10.0 * row.chars;
      habits.frame_time[row.link] += static_cast<double>(row.end - row.start);
      if (heard_until[row.link] >= 0) habits.silences[row.link].push_back(row.start - heard_until[row.link]);
      heard_until[row.link] = row.end;
      habits.longest_chars = std::max<std::uint32_t>(habits.longest_chars, row.chars);
      if (row.answering) {
        std::uint32_t& shortest = habits.shortest_answer;
        shortest = shortest == 0 ? row.chars : std::min<std::uint32_t>(shortest, row.chars);
      }
    }
  }

  Habits habits;
  std::uint64_t exchanges = 0;
  std::uint64_t failed = 0;
  std::vector<Nanos> heard_until;  // by link
  Nanos first = 0;
  Nanos last = 0;
};

}  // namespace

Scenario loaded(const std::string& text) {
  std::vector<Problem> problems;
  const TextFile file{"drawn.txtpb", text};
  auto scenario = load_scenario(file, buses_beside("drawn.txtpb"), problems);
  if (!scenario) throw std::runtime_error(problems.empty() ? "no scenario" : render(problems.front(), file));
  return std::move(*scenario);
}

std::optional<Habits> habits_of(const Draft& draft, std::string& why) {
  const Scenario scenario = loaded(draft.text());
  const Protocol protocol(scenario.bus);
  HabitFold fold;
  Chain chain(protocol, scenario.chain, scenario.chain.seed, Way::repeats, Seat::simulated, fold);
  // Entries that are not asked in every round come as well.
  const std::uint64_t wanted = std::min<std::uint64_t>(1500, 50 * draft.nodes.size());
  const bool went = chain.run_exchanges(wanted);
  chain.finish({});
  if (!went || fold.exchanges < 2) {
    why = "it gets stuck";
    return std::nullopt;
  }
  if (fold.failed > 0) {
    why = fmt::format("{} of {} exchanges fail though nothing is wrong", fold.failed, fold.exchanges);
    return std::nullopt;
  }
  Habits habits = std::move(fold.habits);
  const auto count = static_cast<double>(fold.exchanges);
  habits.exchange = static_cast<double>(fold.last - fold.first) / (count - 1);
  habits.mean_round_trip /= count;
  for (std::size_t i = 0; i < habits.frames.size(); ++i) {
    const double frames = std::max(1.0, habits.frames[i]);
    habits.bits[i] /= frames;
    habits.frame_time[i] /= frames;
    habits.frames[i] /= count;
  }
  for (double& share : habits.asked) share /= count;
  for (auto& each : habits.silences) std::sort(each.begin(), each.end());
  return habits;
}

}  // namespace hopbench::rates
