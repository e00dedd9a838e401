#include "study/failures.h"

#include <algorithm>

#include <vector>

#include "chain/chain.h"
#include "seen/observation.h"

namespace hopbench {
namespace {

constexpr std::uint64_t block = 16;  // turns

/// Spreads an instant over all bits, so that sums of some agree only if the instants do. (Finaliser of SplitMix64,
/// Steele, Lea and Flood, OOPSLA 2014.)
std::uint64_t spread(std::uint64_t x) {
  x = (x ^ (x >> 30U)) * 0xbf58476d1ce4e5b9U;
  x = (x ^ (x >> 27U)) * 0x94d049bb133111ebU;
  return x ^ (x >> 31U);
}

/// Thrown into a run to end it; the chain is not used after that.
struct Ended {
  RunEnd why;
};

class Keeper final : public Sink {
 public:
  /// `planned`: the scenario's plan is what is asked.
  Keeper(FailureSet& set, const ChainDescription& chain, bool planned, Nanos unit, Keep keep,
         const std::function<bool()>& stop)
      : set_(&set), unit_(unit), keep_(keep), stop_(&stop) {
    if (!planned) return;
    for (const PlanEntry& entry : chain.controller.plan) first_.push_back(first_turn(chain.start.round, entry.every));
  }

  void begin(const RunInfo& run) override {
    entries_.clear();
    if (keep_ == Keep::totals) return;
    for (const EntryInfo& entry : run.entries) entries_.push_back(&set_->entries[entry.name]);
    first_.resize(entries_.size(), 0);
  }
  void exchange(const ExchangeObs& obs, const ExchangeTruth* /*not needed*/) override {
    asked(obs.entry, obs.turn, obs.start);
    if (obs.outcome == Outcome::answered) return;
    ++set_->failed;
    ++set_->by_unit[obs.start / unit_ * unit_];
    if (keep_ == Keep::totals) return;
    if (set_->failed > most_failures_kept) throw Ended{RunEnd::too_many_failures};
    entries_.at(obs.entry)->failed.emplace(obs.turn - first_.at(obs.entry), obs.start);
  }
  void again(std::span<const ExchangeObs> models, std::span<const Repeat> repeats) override {
    for (const Repeat& repeat : repeats) asked(models[repeat.model].entry, repeat.turn, repeat.start);
  }
  [[nodiscard]] std::uint64_t whole_from() const override { return ~std::uint64_t{0}; }
  // Only exchanges fail.
  void stray(const Stray&) override {}
  void arrival(const Arrival&) override {}
  void tally(const Tally&) override {}
  void state(const State&) override {}
  void gap(const Gap&) override {}
  void dropped(const Dropped&) override {}
  void command(const Remark&) override {}
  void note(const Remark&) override {}
  void end(Nanos, const Lateness&) override {}

 private:
  void asked(std::uint32_t index, std::uint64_t turn, Nanos start) {
    if ((++set_->asked & 0xfffU) == 0 && (*stop_)()) throw Ended{RunEnd::stopped};
    if (keep_ == Keep::identities) entries_.at(index)->asked(turn - first_.at(index), start);
  }

  FailureSet* set_;
  Nanos unit_;
  Keep keep_;
  const std::function<bool()>* stop_;
  std::vector<FailureSet::Entry*> entries_;
  std::vector<std::uint64_t> first_;  // turns, by entry: those of the set count from them
};

}  // namespace

void FailureSet::Entry::asked(std::uint64_t turn, Nanos at) {
  if (turns <= turn) turns = turn + 1;
  if (steps.size() <= turn / block) steps.resize(turn / block + 1);
  steps[turn / block] += spread(static_cast<std::uint64_t>(at) ^ spread(turn + 1));
}

bool FailureSet::Entry::in_step(const Entry& other, std::uint64_t turn) const {
  const std::uint64_t place = turn / block;
  return turn < turns && turn < other.turns && steps[place] == other.steps[place];
}

std::uint64_t FailureSet::Entry::turns_in_step(const Entry& other) const {
  const std::uint64_t both = std::min(turns, other.turns);
  std::uint64_t count = 0;
  for (std::uint64_t turn = 0; turn < both; turn += block) {
    if (in_step(other, turn)) count += std::min(block, both - turn);
  }
  return count;
}

bool FailureSet::goes_in(const FailureSet& other, const std::string& entry, std::uint64_t turn) const {
  const auto mine = entries.find(entry);
  const auto its = other.entries.find(entry);
  if (mine == entries.end() || its == other.entries.end() || !mine->second.in_step(its->second, turn)) return false;
  return mine->second.failed.contains(turn) != its->second.failed.contains(turn);
}

FailureSet failures_of(const Protocol& protocol, const ChainDescription& chain, std::uint64_t seed, RunBound bound,
                       Nanos unit, Keep keep, const InSeat& in_seat, const std::function<bool()>& stop) {
  FailureSet set;
  Keeper keeper(set, chain, !in_seat, unit, keep, stop);
  try {
    if (in_seat) {
      const bool whole = in_seat(protocol, chain, seed, bound.span, stop, keeper);
      if (!whole) set.end = stop() ? RunEnd::stopped : RunEnd::controller;
      return set;
    }
    Chain world(protocol, chain, seed, Way::repeats, Seat::simulated, keeper);
    if (bound.exchanges > 0) {
      if (!world.run_exchanges(bound.exchanges))
        set.end = world.next_at() == never ? RunEnd::nothing_more : RunEnd::stuck;
    } else if (!world.run_until(world.now() + bound.span)) {
      set.end = RunEnd::stuck;
    }
    world.finish({});
  } catch (const Ended& ended) {
    set.end = ended.why;
  }
  return set;
}

}  // namespace hopbench
