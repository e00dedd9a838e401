// What a study was able to see: from every hop, from some, or at the controller only.
#pragma once

#include <cstdint>
#include <string_view>
#include <vector>

#include "study/as_told.h"

namespace hopbench {

enum class Sight : std::uint8_t { every_hop, some_hops, controller_only };

std::string_view name_of(Sight sight);
/// Links that nobody saw do not count as seen.
Sight sight_of(const RunInfo& run);

/// Shuts its eyes to all that a controller cannot know of a chain, whatever the capture tells: rows but those on the
/// links into the controller, and of these when they began; whether a frame had been damaged before; whether an
/// accepted value was right; to which exchange a stray belongs; and every condition that a simulation states. What
/// remains: outcomes, times, what was asked and answered, and of conditions what was asked and answered of them.
class AtController final : public Observer {
 public:
  /// Both must outlive it. `protocol`: of the bus, for reading what was told; null: nothing is told.
  AtController(Observer& observer, const Protocol* protocol) : told_(observer, protocol, TakeTold::always) {}

  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs) override;
  void stray(const Stray& stray) override;
  void arrival(const Arrival& arrival) override { told_.arrival(arrival); }
  void tally(const Tally& tally) override { told_.tally(tally); }
  void conditions(const ConditionValues&) override {}
  void gap(const Gap& gap) override { told_.gap(gap); }
  void dropped(const Dropped& dropped) override { told_.dropped(dropped); }
  void command(const Remark& command) override { told_.command(command); }
  void note(const Remark& note) override { told_.note(note); }
  void end(Nanos until) override { told_.end(until); }

 private:
  AsTold told_;
  std::vector<bool> into_controller_;
  std::vector<HopRow> rows_;
  std::vector<Attempt> attempts_;
};

}  // namespace hopbench
