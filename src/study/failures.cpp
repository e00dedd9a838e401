#include "study/failures.h"

#include <vector>

#include "nodes/chain.h"
#include "seen/observation.h"

namespace hopbench {
namespace {

/// Thrown into a run to end it; the chain is not used after that.
struct Ended {
  RunEnd why;
};

class Keeper final : public Sink {
 public:
  Keeper(FailureSet& set, const std::function<bool()>& stop) : set_(&set), stop_(&stop) {}

  void begin(const RunInfo& run) override {
    entries_.clear();
    for (const EntryInfo& entry : run.entries) entries_.push_back(&set_->entries[entry.name]);
  }
  void exchange(const ExchangeObs& obs, const ExchangeTruth* /*not needed*/) override {
    FailureSet::Entry& entry = asked(obs.entry, obs.turn);
    if (obs.outcome == Outcome::answered) return;
    if (++set_->failed > most_failures_kept) throw Ended{RunEnd::too_many_failures};
    entry.failed.emplace(obs.turn, obs.start);
  }
  void again(std::span<const ExchangeObs> models, std::span<const Repeat> repeats) override {
    for (const Repeat& repeat : repeats) asked(models[repeat.model].entry, repeat.turn);
  }
  [[nodiscard]] std::uint64_t whole_from() const override { return ~std::uint64_t{0}; }
  void stray(const Stray&) override {}
  void arrival(const Arrival&) override {}
  void end(Nanos, const Lateness&) override {}

 private:
  FailureSet::Entry& asked(std::uint32_t index, std::uint64_t turn) {
    if ((++set_->asked & 0xfffU) == 0 && (*stop_)()) throw Ended{RunEnd::stopped};
    FailureSet::Entry& entry = *entries_.at(index);
    if (entry.turns <= turn) entry.turns = turn + 1;
    return entry;
  }

  FailureSet* set_;
  const std::function<bool()>* stop_;
  std::vector<FailureSet::Entry*> entries_;
};

}  // namespace

bool FailureSet::has_asked(std::string_view entry, std::uint64_t turn) const {
  const auto found = entries.find(entry);
  return found != entries.end() && turn < found->second.turns;
}

bool FailureSet::has_failed(std::string_view entry, std::uint64_t turn) const {
  const auto found = entries.find(entry);
  return found != entries.end() && found->second.failed.contains(turn);
}

FailureSet failures_of(const Protocol& protocol, const ChainDescription& chain, std::uint64_t seed, Bound bound,
                       const std::function<bool()>& stop) {
  FailureSet set;
  Keeper keeper(set, stop);
  try {
    Chain world(protocol, chain, seed, Way::repeats, Seat::simulated, keeper);
    if (bound.exchanges > 0) {
      if (!world.run_exchanges(bound.exchanges))
        set.end = world.next_at() == never ? RunEnd::nothing_more : RunEnd::stuck;
    } else if (!world.run_until(bound.span)) {
      set.end = RunEnd::stuck;
    }
    world.finish({});
  } catch (const Ended& ended) {
    set.end = ended.why;
  }
  return set;
}

}  // namespace hopbench
