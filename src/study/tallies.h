// What `compare` counts in one capture: tries and failures by cluster, so that whole clusters can be compared.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "judge/difference.h"
#include "measure/histogram.h"
#include "study/observed.h"

namespace hopbench {

/// What was counted in one cluster: a charge cycle, or a block of time.
struct Cluster {
  Counted exchanges;                              // hits: not answered
  Counted tries;                                  // hits: failed
  std::array<Counted, outcome_count> outcomes{};  // exchanges; hits: with this outcome
  std::vector<Counted> links;                     // as RunInfo.links: frames that were good when they were put on it
  std::vector<Counted> nodes;                     // as RunInfo.nodes: tries
  std::vector<Counted> topics;                    // as Tallies.topics: tries
  std::array<Counted, bin_count> balancing{};     // tries by cells balancing, in bins; unknown ones are in none
  Histogram round_trips{6, 41};                   // 64 buckets for each doubling

  void add(const Cluster& other);
};

struct Tallies {
  RunInfo run;
  std::vector<std::string> topics;
  Cluster all;
  std::vector<Cluster> cycles;  // charge cycles; the first is what came before one began
  std::vector<Cluster> blocks;  // of time
  Nanos block_span = 0;         // a power of two times a second
  Nanos from = 0;
  Nanos until = 0;
  std::uint32_t cycles_begun = 0;
  std::uint64_t tallied = 0;            // exchanges that came in sums, without a record of their own
  std::uint64_t unreadable = 0;         // of those: in nothing else here
  std::uint64_t missing = 0;            // spans that nothing was recorded of
  Known balancing;                      // of exchanges with a record of their own
  bool as_told = false;                 // cells balancing were read from the traffic
  std::uint64_t doubtful = 0;           // exchanges that a late port may have decided: in nothing else here
  std::optional<std::uint64_t> run_id;  // which run it is of, if its head tells

  /// Joins blocks until they are this long (a power of two times the span that they have).
  void join_blocks(Nanos span);
};

/// Memory depends on the chain, not on the length of the capture.
class TallyFold final : public Observer {
 public:
  /// Beyond this many, clusters are joined in pairs.
  static constexpr std::size_t most_clusters = 256;

  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs) override;
  void conditions(const ConditionValues& conditions) override;
  void tally(const Tally& tally) override;
  void gap(const Gap&) override { hole(); }
  void dropped(const Dropped&) override { hole(); }
  // Not compared.
  void stray(const Stray&) override {}
  void arrival(const Arrival&) override {}
  void command(const Remark&) override {}
  void note(const Remark&) override {}
  void end(Nanos until) override;

  [[nodiscard]] const Tallies& tallies() const { return tallies_; }

 private:
  [[nodiscard]] Cluster empty() const;
  Cluster& block_at(Nanos at);
  Cluster& cycle_now();
  void see(Nanos at);
  /// What held before it need not hold after it.
  void hole();
  void count(Cluster& cluster, const ExchangeObs& obs) const;

  Tallies tallies_;
  std::vector<std::size_t> topic_of_entry_;
  std::uint8_t balancing_ = unknown_bin;
  Source balancing_from_;
  std::uint32_t cycles_joined_ = 1;  // charge cycles in one cluster
  bool charging_ = false;
  bool begun_ = false;
};

}  // namespace hopbench
