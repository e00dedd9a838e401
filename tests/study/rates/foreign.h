// Faults that no scenario can say: a post between the chain and whoever listens, that takes frames off a hop by a rule
// of its own.
#pragma once

#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "bus/protocol.h"
#include "seen/whole_sink.h"

namespace hopbench::rates {

/// A frame on one link, before it is decided what becomes of it.
struct FrameOnHop {
  const ExchangeObs& exchange;
  const HopRow& row;
  std::uint64_t number = 0;       // of the frames on this link, from 0
  Nanos since_last = -1;          // on this link; -1: it is the first
  std::string_view topic_before;  // asked before this one; empty: it is the first
  std::string_view topic;
  std::uint16_t node_before = 0xffff;     // asked before this one
  std::uint16_t chars_before = 0;         // of the frame before on this link; 0: it is the first
  std::span<const std::uint8_t> content;  // as it is on this link
};

/// The same for the same frame, whatever the number of faults before.
bool drawn(const FrameOnHop& frame, std::uint64_t percent);

struct ForeignFault {
  std::string name;
  std::string rule;  // in words
  /// Of each group one must stand in the first sentence on what the failures have in common.
  std::vector<std::vector<std::string>> must_say;
  Symptom symptom = Symptom::nothing;
  std::function<bool(const FrameOnHop&)> strikes;
  /// Where a damaged frame is damaged first: byte from 1, and its bits. Empty: anywhere.
  std::function<RowDamage(const FrameOnHop&)> damages = {};
};

struct ForeignCase {
  std::uint64_t seed = 0;
  std::string text;  // of a healthy scenario
  ForeignFault fault;
};

inline constexpr std::size_t foreign_count = 19;
/// Seeds that differ by so many have the same kind of fault.
ForeignCase foreign_case(std::uint64_t seed);

/// Hands on what a chain tells as if a fault had struck. For chains whose nodes pass on whole frames, whose controller
/// never retries and whose pace leaves room for a time-out: there a frame that is gone changes nothing else.
class ForeignPost final : public WholeSink {
 public:
  /// All must outlive it.
  ForeignPost(const Protocol& protocol, const ForeignFault& fault, Nanos time_out, Sink& to)
      : protocol_(&protocol), fault_(&fault), time_out_(time_out), to_(&to) {}

  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override;
  void stray(const Stray& stray) override { to_->stray(stray); }
  void arrival(const Arrival& arrival) override { to_->arrival(arrival); }
  void tally(const Tally& tally) override { to_->tally(tally); }
  void state(const State& state) override { to_->state(state); }
  void gap(const Gap& gap) override { to_->gap(gap); }
  void dropped(const Dropped& dropped) override { to_->dropped(dropped); }
  void command(const Remark& command) override { to_->command(command); }
  void note(const Remark& note) override { to_->note(note); }
  void end(Nanos until, const Lateness& lateness) override { to_->end(until, lateness); }

  [[nodiscard]] std::uint64_t struck() const { return struck_; }

 private:
  /// What it says on this link, `hops` after its sender.
  [[nodiscard]] std::span<const std::uint8_t> content_of(const ExchangeObs& obs, const HopRow& row, std::size_t hops);
  [[nodiscard]] RowDamage damage_of(const FrameOnHop& frame) const;

  const Protocol* protocol_;
  const ForeignFault* fault_;
  Nanos time_out_;
  Sink* to_;
  std::vector<std::uint64_t> frames_;        // by link
  std::vector<Nanos> heard_until_;           // by link; -1: nothing yet
  std::vector<std::string> topics_;          // by plan entry
  std::vector<std::uint16_t> chars_before_;  // by link
  std::string_view topic_before_;
  std::uint16_t node_before_ = 0xffff;
  Nanos last_edge_ = -1;  // at the controller
  std::uint64_t struck_ = 0;
  Content content_;
  std::vector<std::uint8_t> replied_;
  std::vector<RowDamage> damage_;
  std::vector<HopRow> rows_;
  std::vector<Attempt> attempts_;
};

}  // namespace hopbench::rates
