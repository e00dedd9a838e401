#include "planted.h"

#include <algorithm>

#include "chain/chain.h"
#include "scenarios.h"
#include "support/buses.h"
#include "support/shares.h"

namespace hopbench::planted {
namespace {

class Spoiler final : public Observer {
 public:
  Spoiler(Observer& observer, const Fails& fails, double certain, std::uint64_t seed, const Seen& seen)
      : observer_(&observer), fails_(&fails), certain_(certain), seen_(&seen), shares_(seed) {}

  Told told;

  void begin(const RunInfo& run) override {
    counts_.assign(run.links.size(), 0);
    heard_.assign(run.links.size(), -1);
    observer_->begin(run);
  }
  void exchange(const ExchangeObs& obs) override {
    ExchangeObs seen = obs;
    std::vector<HopRow> rows;
    std::vector<RowDamage> damage;
    std::vector<std::uint8_t> replied;
    bool failed = false;
    for (const HopRow& row : obs.rows) {
      Passing passing{&obs, any_ ? &before_ : nullptr, row, counts_[row.link]++,
                      heard_[row.link] < 0 ? -1 : row.start - heard_[row.link]};
      heard_[row.link] = row.end;
      rows.push_back(row);
      const double chance = (*fails_)(passing);
      if (chance >= certain_) ++told.frames;
      if (chance <= 0 || shares_.next() >= chance) continue;
      if (chance >= certain_) ++told.failed;
      rows.back().symptom = Symptom::check;
      if (seen_->damage) {
        damage.push_back(seen_->damage(passing));
        damage.back().row = static_cast<std::uint32_t>(rows.size() - 1);
      }
      const bool heard = row.answering && rows.size() > 1 && rows[rows.size() - 2].answering;
      if (seen_->replies && heard) replied = as_sent(obs, rows);
      failed = true;
      break;
    }
    std::vector<Attempt> attempts(obs.attempts.begin(), obs.attempts.end());
    if (failed) {
      attempts.back().outcome = Outcome::lost;
      seen.outcome = Outcome::lost;
      seen.round_trip = -1;
      seen.answered = {};
      seen.replied = replied;
      seen.damage = damage;
    }
    seen.rows = rows;
    seen.attempts = attempts;
    observer_->exchange(seen);
    before_ = obs;
    any_ = true;
  }
  void stray(const Stray& stray) override { observer_->stray(stray); }
  void arrival(const Arrival& arrival) override { observer_->arrival(arrival); }
  void tally(const Tally& tally) override { observer_->tally(tally); }
  void conditions(const ConditionValues& conditions) override { observer_->conditions(conditions); }
  void gap(const Gap& gap) override { observer_->gap(gap); }
  void dropped(const Dropped& dropped) override { observer_->dropped(dropped); }
  void command(const Remark& command) override { observer_->command(command); }
  void note(const Remark& note) override { observer_->note(note); }
  void end(Nanos until) override { observer_->end(until); }

 private:
  /// The reply as it was on its first hop.
  [[nodiscard]] static std::vector<std::uint8_t> as_sent(const ExchangeObs& obs, const std::vector<HopRow>& rows) {
    const auto first = std::find_if(rows.begin(), rows.end(), [](const HopRow& row) { return row.answering; });
    Content content;
    content.assign(obs.answered);
    for (std::size_t link = first->link; link < obs.rows.back().link; ++link) bench_bus().undo_forward(content);
    return {content.view().begin(), content.view().end()};
  }

  Observer* observer_;
  const Fails* fails_;
  double certain_;
  const Seen* seen_;
  Shares shares_;
  std::vector<std::uint64_t> counts_;
  std::vector<Nanos> heard_;
  ExchangeObs before_;
  bool any_ = false;
};

}  // namespace

Told run(const std::string& scenario, std::uint64_t exchanges, std::uint64_t seed, const Fails& fails, double certain,
         Observer& observer, const Seen& seen) {
  const auto loaded = study_tests::loaded(scenario);
  Spoiler spoiler(observer, fails, certain, seed, seen);
  Observed door(spoiler);
  Chain chain(bench_bus(), loaded.chain, seed, Way::events, Seat::simulated, door);
  REQUIRE(chain.run_exchanges(exchanges));
  chain.finish({});
  return spoiler.told;
}

const Protocol& bench_bus() {
  static const Protocol protocol(buses::bench_frame());
  return protocol;
}

}  // namespace hopbench::planted
