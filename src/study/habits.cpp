#include "study/habits.h"

#include <algorithm>

#include "chain/chain.h"
#include "seen/ignoring_sink.h"

namespace hopbench {
namespace {

class HabitFold final : public IgnoringSink {
 public:
  void begin(const RunInfo& run) override {
    habits.frames.assign(run.links.size(), 0);
    habits.bits = habits.frame_time = habits.frames;
  }
  void exchange(const ExchangeObs& obs, const ExchangeTruth* /*not needed*/) override {
    if (exchanges++ == 0) first = obs.start;
    last = obs.start;
    habits.round_trip = std::max(habits.round_trip, static_cast<double>(obs.round_trip));
    habits.mean_round_trip += static_cast<double>(std::max<Nanos>(0, obs.round_trip));
    for (const HopRow& row : obs.rows) {
      ++habits.frames[row.link];
      habits.bits[row.link] += 10.0 * row.chars;
      habits.frame_time[row.link] += static_cast<double>(row.end - row.start);
      habits.longest_chars = std::max<std::uint32_t>(habits.longest_chars, row.chars);
      if (!row.answering || row.chars == 0) continue;
      auto& shortest = habits.shortest_answer;
      shortest = shortest == 0 ? row.chars : std::min<std::uint32_t>(shortest, row.chars);
    }
  }

  Habits habits;
  double exchanges = 0;
  Nanos first = 0;
  Nanos last = 0;
};

}  // namespace

std::optional<Habits> habits_of(const Protocol& protocol, const ChainDescription& chain) {
  HabitFold fold;
  Chain world(protocol, chain, 1, Way::repeats, Seat::simulated, fold);
  // One that gets stuck has habits up to then.
  (void)world.run_exchanges(std::min<std::uint64_t>(1500, 30 * chain.nodes.size()));
  world.finish({});
  if (fold.exchanges < 2 || fold.last <= fold.first) return std::nullopt;
  Habits habits = std::move(fold.habits);
  habits.period = static_cast<double>(fold.last - fold.first) / (fold.exchanges - 1);
  habits.mean_round_trip /= fold.exchanges;
  for (std::size_t i = 0; i < habits.frames.size(); ++i) {
    const double frames = std::max(1.0, habits.frames[i]);
    habits.bits[i] = std::max(10.0, habits.bits[i] / frames);
    habits.frame_time[i] /= frames;
    habits.frames[i] /= fold.exchanges;
  }
  return habits;
}

}  // namespace hopbench
