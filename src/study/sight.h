// What a study was able to see: from every hop, from some, or at the controller only.
#pragma once

#include <cstdint>
#include <string_view>
#include <vector>

#include "study/observed.h"

namespace hopbench {

enum class Sight : std::uint8_t { every_hop, some_hops, controller_only };

std::string_view name_of(Sight sight);
/// Links that nobody saw do not count as seen.
Sight sight_of(const RunInfo& run);

/// Shuts its eyes to all that a controller cannot know of a chain, whatever the capture tells: rows but those on the
/// links into the controller, and of these when they began; whether a frame had been damaged before; what a node's
/// clock did and whether it was off; and whether an accepted value was right. What remains: outcomes, times, what was
/// asked and answered, how many cells it let balance, the charge current, and boards' temperatures and supplies, which
/// boards tell when they are asked.
class AtController final : public Observer {
 public:
  explicit AtController(Observer& observer) : observer_(&observer) {}

  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs) override;
  void stray(const Stray& stray) override { observer_->stray(stray); }
  void arrival(const Arrival& arrival) override { observer_->arrival(arrival); }
  void tally(const Tally& tally) override { observer_->tally(tally); }
  void state(const State& state) override;
  void gap(const Gap& gap) override { observer_->gap(gap); }
  void dropped(const Dropped& dropped) override { observer_->dropped(dropped); }
  void command(const Remark& command) override { observer_->command(command); }
  void note(const Remark& note) override { observer_->note(note); }
  void end(Nanos until) override { observer_->end(until); }

 private:
  Observer* observer_;
  std::vector<bool> into_controller_;
  std::vector<HopRow> rows_;
  std::vector<Attempt> attempts_;
  std::vector<NodeState> nodes_;
};

}  // namespace hopbench
