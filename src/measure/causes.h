// Counts of what only a simulation knows. Apart from Measures by type, so that what is measured from observations
// cannot depend on it.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "seen/observation.h"

namespace hopbench {

struct CauseCounts {
  bool known = true;                       // false if the run does not know causes
  std::array<std::uint64_t, 256> tries{};  // tries that came to nothing, by Cause
  std::vector<std::uint64_t> undetected;   // per link: frames damaged there of which every check passed
  std::vector<std::uint64_t> strikes;      // per injected fault, whether they did harm or not

  void merge(const CauseCounts& other);
  friend bool operator==(const CauseCounts&, const CauseCounts&) = default;
};

class CauseFold final : public Sink {
 public:
  [[nodiscard]] const CauseCounts& counts() const { return counts_; }
  /// Begins anew with the same run.
  void restart();

  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override;
  /// Repeats are healthy: there is nothing to count.
  [[nodiscard]] std::uint64_t whole_from() const override { return ~std::uint64_t{0}; }
  void again(std::span<const ExchangeObs>, std::span<const Repeat>) override {}
  /// Tells no causes. Those that were not answered are counted as such (Coverage::tallied_unanswered).
  void tally(const Tally&) override {}
  // Only exchanges have causes.
  void stray(const Stray&) override {}
  void arrival(const Arrival&) override {}
  void state(const State&) override {}
  void gap(const Gap&) override {}
  void dropped(const Dropped&) override {}
  void command(const Remark&) override {}
  void note(const Remark&) override {}
  void end(Nanos, const Lateness&) override {}

 private:
  CauseCounts counts_;
};

}  // namespace hopbench
