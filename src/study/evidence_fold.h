// Gathers Evidence from what was observed.
#pragma once

#include <cstdint>
#include <deque>
#include <functional>
#include <optional>
#include <unordered_map>
#include <vector>

#include "study/evidence.h"
#include "study/observed.h"

namespace hopbench {

class EvidenceFold final : public Observer {
 public:
  /// Failures beyond this many are thinned evenly.
  static constexpr std::size_t most_incidents = 200'000;
  /// Blocks of time beyond this many are joined in pairs.
  static constexpr std::uint32_t most_blocks = 256;
  static constexpr std::size_t most_moments = 100'000;
  /// Frames that have come further count as having come so far: twice the longest chain.
  static constexpr std::size_t most_hops = 512;
  /// With more plan entries than this, tries are not counted by entry and block.
  static constexpr std::size_t most_entries = 4096;

  /// `most`: failures that are kept, at least 2.
  explicit EvidenceFold(std::size_t most = most_incidents) : most_(most) {}

  /// The wall clock, since 1970 UTC, when the run's clock stood at 0. Before begin().
  void know_wall_clock(Nanos at_zero) { wall_zero_ = at_zero; }
  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs) override;
  void stray(const Stray&) override { ++evidence_.strays; }
  void conditions(const ConditionValues& conditions) override;
  void tally(const Tally& tally) override;
  void gap(const Gap& gap) override { hole(gap.from, gap.to); }
  void dropped(const Dropped& dropped) override { hole(dropped.from, dropped.to); }
  // Evidence is of frames and of what held around them.
  void arrival(const Arrival&) override {}
  void command(const Remark&) override {}
  void note(const Remark&) override {}
  void end(Nanos until) override;

  [[nodiscard]] const Evidence& evidence() const { return evidence_; }
  /// Of the exchange told last: its failed tries, all of them, and what held around it.
  [[nodiscard]] const std::vector<Incident>& latest() const { return latest_; }
  [[nodiscard]] const Bins& latest_bins() const { return latest_bins_; }
  /// Temperature bin of a node's board; unknown_bin if it is not known, or there is no such node.
  [[nodiscard]] std::uint8_t heat_at(std::uint16_t node, Nanos at) const {
    const auto& heat = bins_at(at).heat;
    return node < heat.size() ? heat[node] : unknown_bin;
  }

 private:
  /// Not an instant of any run.
  static constexpr Nanos not_yet = -farthest_instant - 1;
  struct StateBins {
    Nanos at = 0;
    std::uint32_t cycle = 0;
    std::uint8_t balancing = unknown_bin;
    std::uint8_t charge = unknown_bin;
    std::uint8_t temperature = unknown_bin;
    std::uint8_t supply = unknown_bin;
    std::vector<std::uint8_t> heat;  // by node
    std::array<Source, told_count> sources{};
  };
  /// An exchange is told when it closes, and as much may have changed since it began.
  static constexpr std::size_t most_before = 16;

  /// What held before, or went before, says nothing of what comes after it.
  void hole(Nanos from, Nanos to);
  std::uint32_t block_of(Nanos at);
  void join_blocks();
  void coarsen_moments();
  std::uint32_t moment_at(Nanos at);
  const StateBins& bins_at(Nanos at) const;
  void count_known(const StateBins& around, Nanos at);
  std::uint8_t said_by(const ExchangeObs& obs);
  void count_rows(const ExchangeObs& obs, std::uint64_t weight);
  void count_times(const ExchangeObs& obs, std::size_t attempt);
  void count_held(const ExchangeObs& obs, std::size_t attempt);
  void count_asked(const ExchangeObs& obs, std::uint64_t tries, std::uint64_t failures);
  void count_lengths(const ExchangeObs& obs, std::uint32_t block, std::uint8_t expected, std::uint64_t tries,
                     std::uint64_t failures);
  Nanos silence_before(const ExchangeObs& obs, const HopRow& row) const;
  Incident incident_of(const ExchangeObs& obs, std::size_t attempt) const;
  void hand_overs(const ExchangeObs& obs, std::size_t attempt,
                  const std::function<void(const HopRow&, const HopRow&)>& tell) const;
  /// How long a late try was inside a station, in the order in which it went.
  struct Stay {
    std::uint16_t station = no_station;
    std::uint16_t link = no_link;  // out of it
    bool answering = false;        // what came out
    bool turned = false;           // an answer to what came in
    Nanos took = 0;
  };
  [[nodiscard]] std::vector<Stay> stays_of(const ExchangeObs& obs, std::size_t attempt) const;
  /// What a stay usually takes, of tries answered in time: of an answer with the same entry, or, if none of it was in
  /// time, of the same topic.
  [[nodiscard]] Spans usual_stay(const Stay& stay, std::uint32_t entry) const;
  void find_delay(const std::vector<Stay>& stays, Incident& incident) const;
  void remember_early(const ExchangeObs& obs, std::size_t attempt);
  void find_delays_anew();
  std::uint32_t good_before_row(const ExchangeObs& obs, const Incident& incident);
  /// The station at the far end of a link, the controller last.
  [[nodiscard]] std::size_t ear_of(std::uint16_t link) const {
    return std::min<std::size_t>(receiver_of_[link], hops_to_.size());
  }
  void keep(Incident incident);
  void overlap(const HopRow& row);
  void collided(std::uint16_t link, Nanos start);
  void pair_up(const HopRow& row);
  [[nodiscard]] std::uint16_t node_named(const std::string& name) const;

  std::size_t most_;
  std::optional<Nanos> wall_zero_;
  Evidence evidence_;
  std::vector<Incident> latest_;
  Bins latest_bins_{};
  BurstFold bursts_;
  std::vector<std::uint16_t> sender_of_;       // by link: node, no_station the controller
  std::vector<std::uint16_t> receiver_of_;     // by link
  std::vector<std::uint32_t> hops_to_;         // by node
  std::vector<std::size_t> topic_of_entry_;    // index into Evidence.topics
  std::vector<Spans> turned_by_topic_;         // turn-around, whichever node
  std::vector<std::uint32_t> good_on_link_;    // since the last bad one
  std::vector<Nanos> heard_until_;             // by station, the controller last: on any link into it
  std::vector<std::uint32_t> good_with_node_;  // by node, last those without one
  std::vector<std::int32_t> highest_mv_;
  std::vector<bool> was_off_;
  std::vector<std::uint8_t> supply_before_;  // bin of it, as the last state told
  std::optional<Nanos> states_from_;         // when that was; none: nothing is known up to the next one
  StateBins now_;
  std::deque<StateBins> before_;  // the newest last
  bool failed_before_ = false;    // the exchange before this one
  bool one_silence_ = false;
  bool charging_ = false;
  bool started_ = false;
  std::uint64_t incidents_seen_ = 0;
  std::unordered_map<std::uint64_t, std::uint32_t> moment_of_key_;
  /// Frames without a twin yet, by kind.
  struct Single {
    Nanos middle = 0;
    bool damaged = false;
  };
  std::unordered_map<std::uint64_t, Single> singles_;
  /// Frames that were on a link lately.
  struct Recent {
    struct Span {
      Nanos start = 0;
      Nanos end = 0;
    };
    std::array<Span, 8> rows{};
    std::size_t next = 0;
  };
  std::vector<Recent> recent_;  // by link
  /// Late tries from before it was known how long they usually take; looked at again at the end.
  struct Early {
    std::uint64_t serial = 0;  // of the incident
    std::vector<Stay> stays;
  };
  static constexpr std::size_t most_early = 256;
  std::vector<Early> early_;
  mutable std::vector<const HopRow*> into_station_;  // while rows of one try are gone through
  std::uint64_t last_key_ = ~std::uint64_t{0};
  std::uint32_t last_moment_ = 0;
};

}  // namespace hopbench
