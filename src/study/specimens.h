// Frames and tries that are kept to be compared: those that failed, and a sample of those that went well at the same
// places, with what was known of each at the time. Memory is bounded by the constants below.
//
// Which are kept hangs on their identity (plan entry, turn, try, link, leg), not on what came before them, so that no
// period of the traffic can fall in with the sample.
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "study/evidence_fold.h"

namespace hopbench {

/// What an exchange said, as content of frames. Empty: not known.
struct Said {
  std::vector<std::uint8_t> asked;
  std::vector<std::uint8_t> answered;  // of this exchange, if it was answered in the end
  std::vector<std::uint8_t> before;    // the last good answer of its plan entry before it, as far as it came
  std::vector<std::uint8_t> replied;   // of this exchange, as it was on its first hop, if it came no further
  std::vector<std::uint8_t> came;      // what came to the controller well and was no good answer
};

inline constexpr std::uint32_t no_entry = 0xffffffff;
inline constexpr Nanos unknown_span = -1;

/// A frame on a link, or a try as a whole.
struct Specimen {
  Nanos at = 0;                         // first edge of the frame; of a try's ask
  Nanos since_frame = unknown_span;     // from the last edge of the one before it on the link
  Nanos since_exchange = unknown_span;  // silence before the exchange, as the controller hears it
  Nanos since_node = unknown_span;      // from when the same node was asked last
  Nanos held = unknown_span;            // by the station that sent it on
  std::uint64_t identity = 0;           // a hash of entry, turn, try, link and leg
  std::uint64_t number = 0;             // of the exchange
  std::uint32_t entry = no_entry;
  std::uint32_t entry_before = no_entry;  // of the exchange before it
  std::uint32_t turn = 0;
  std::uint32_t count = 0;       // frames put on the link before it; tries before it
  std::uint32_t node_count = 0;  // tries with its node before it
  std::uint32_t in_round = ~0U;  // exchanges since the plan's first entry was asked; ~0: not known
  std::uint32_t one_in = 1;      // of a thinned capture: it stands for so many
  std::uint16_t link = no_link;  // of a try: none
  std::uint16_t node = no_station;
  std::uint16_t node_before = no_station;  // of the exchange before it
  std::uint16_t answerer = no_station;     // of a try: who put an answer on the line, if that was seen
  std::uint16_t chars = 0;
  std::uint16_t chars_before = 0;  // of the frame before it on the link; 0: not known
  std::uint16_t hops = 0;          // that it has come before this one
  std::uint16_t damaged_at = 0;    // first wrong character, from 1; 0: not known
  std::uint8_t damaged_bits = 0;   // of it
  std::uint8_t attempt = 0;
  std::uint8_t sender_heat = unknown_bin;
  std::uint8_t receiver_heat = unknown_bin;
  bool answering = false;
  Bins bins{};
  std::shared_ptr<const Said> said;
};

/// Specimens of one place.
struct Drawer {
  std::vector<Specimen> kept;
  std::uint32_t one_in = 1;  // of those that there were; a power of two
  std::uint64_t seen = 0;
};

/// Drawers by place with a common bound: whichever holds most for what it is worth gives up every second one.
class Cabinet {
 public:
  Cabinet(std::size_t places, std::size_t most) : drawers_(places), most_(most) {}

  [[nodiscard]] bool wants(std::size_t place, std::uint64_t identity) const {
    return (identity & (drawers_[place].one_in - 1)) == 0;
  }
  void pass_over(std::size_t place) { ++drawers_[place].seen; }
  /// `worth`: of each place, above 0.
  void put(std::size_t place, Specimen specimen, std::span<const std::uint64_t> worth);
  [[nodiscard]] const Drawer& at(std::size_t place) const { return drawers_[place]; }
  [[nodiscard]] std::size_t places() const { return drawers_.size(); }

 private:
  void halve(std::size_t place);

  std::vector<Drawer> drawers_;
  std::size_t most_;
  std::size_t held_ = 0;
};

/// Stands before an EvidenceFold and tells it everything.
class SpecimenFold final : public Observer {
 public:
  static constexpr std::size_t most_failed = 1U << 15U;
  static constexpr std::size_t most_healthy = 1U << 16U;

  /// It must outlive this.
  explicit SpecimenFold(EvidenceFold& evidence) : evidence_(&evidence) {}

  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs) override;
  void stray(const Stray& stray) override { evidence_->stray(stray); }
  void conditions(const ConditionValues& conditions) override { evidence_->conditions(conditions); }
  void tally(const Tally& tally) override;
  void gap(const Gap& gap) override;
  void dropped(const Dropped& dropped) override;
  void arrival(const Arrival& arrival) override { evidence_->arrival(arrival); }
  void command(const Remark& command) override { evidence_->command(command); }
  void note(const Remark& note) override { evidence_->note(note); }
  void end(Nanos until) override { evidence_->end(until); }

  /// Places are links, and after them nodes (tries with each), last tries with none.
  [[nodiscard]] const Cabinet& failed() const { return failed_; }
  [[nodiscard]] const Cabinet& healthy() const { return healthy_; }

 private:
  void hole();
  void take_rows(const ExchangeObs& obs, const Specimen& whole);
  void take_tries(const ExchangeObs& obs, const Specimen& whole);
  [[nodiscard]] std::shared_ptr<const Said> said_in(const ExchangeObs& obs);
  [[nodiscard]] std::uint16_t answerer_of(const ExchangeObs& obs, std::size_t attempt) const;
  void keep_up(const ExchangeObs& obs);
  [[nodiscard]] const Incident* incident_of(std::size_t attempt) const;

  EvidenceFold* evidence_;
  std::vector<std::uint16_t> sender_of_;  // by link
  std::vector<std::uint16_t> receiver_of_;
  std::vector<Nanos> heard_until_;                    // by link; unknown_span: not known
  std::vector<std::uint32_t> frames_;                 // by link
  std::vector<std::uint16_t> chars_before_;           // by link; 0: not known
  std::vector<std::uint32_t> tries_;                  // by node, last without
  std::vector<Nanos> asked_at_;                       // by node
  std::vector<std::vector<std::uint8_t>> last_said_;  // by entry
  std::vector<std::uint64_t> worth_;                  // by place
  std::shared_ptr<const Said> said_;                  // of the exchange at hand, once it is needed
  std::uint32_t all_tries_ = 0;
  std::uint32_t entry_before_ = no_entry;
  std::uint16_t node_before_ = no_station;
  std::uint32_t in_round_ = ~0U;
  bool failed_before_ = false;
  Cabinet failed_{0, most_failed};
  Cabinet healthy_{0, most_healthy};
};

}  // namespace hopbench
