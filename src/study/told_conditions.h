// Conditions as the traffic tells them: which cells the controller has let bleed, and what nodes say of themselves. On
// a real chain nothing else is known of them.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <vector>

#include "bus/protocol.h"
#include "study/observed.h"

namespace hopbench {

struct ToldValue {
  std::int64_t value = 0;
  Nanos at = 0;  // an ask: its last edge; an answer: when the controller had it
};

/// The newest of each quantity that was told of one node.
struct NodeTold {
  std::optional<ToldValue> mask_asked;  // cells that it was ordered to bleed
  std::optional<ToldValue> mask_told;   // cells that it says it bleeds
  std::optional<ToldValue> board_mc;
  std::optional<ToldValue> supply_mv;
  std::optional<ToldValue> string_ma;

  /// The newer of what was asked and told; what was told if they are as old.
  [[nodiscard]] std::optional<ToldValue> mask() const;
};

/// Decodes asks and answers by the quantities that the bus description names (bleed_mask, board_temp_mc, supply_mv,
/// string_current_ma). An order counts from when it was sent, answered or not, unless it was refused. After a gap, or
/// where records are left out, all is unknown until it is told again; after a sum that holds orders to bleed, the
/// masks.
///
/// Of the whole chain a condition is known when all nodes have told it, or when half of those that have told it have
/// done so twice: whoever has not by then does not answer, or is not asked. Only what came in answers counts for that.
class ToldConditions final : public Observer {
 public:
  /// It must outlive this. Null: the bus is not known, and nothing is.
  explicit ToldConditions(const Protocol* protocol) : protocol_(protocol) {}

  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs) override;
  void stray(const Stray& stray) override;
  void gap(const Gap& gap) override { forget(gap.from); }
  void dropped(const Dropped& dropped) override { forget(dropped.from); }
  void tally(const Tally& tally) override;
  // Neither what a simulation states nor what was typed was told by a node.
  void conditions(const ConditionValues&) override {}
  void arrival(const Arrival&) override {}
  void command(const Remark&) override {}
  void note(const Remark&) override {}
  void end(Nanos) override {}

  [[nodiscard]] const std::vector<NodeTold>& nodes() const { return nodes_; }
  /// Goes up with everything that is told or forgotten.
  [[nodiscard]] std::uint64_t version() const { return version_; }
  /// What is known now. Its nodes stay good until the next call.
  [[nodiscard]] ConditionValues now();

 private:
  enum class Told : std::uint8_t { mask, current, board, supply };  // in the order of Condition
  struct Reading {
    Told what = Told::mask;
    std::int64_t value = 0;
  };
  class Listener;
  /// Which of them have told one quantity.
  struct Tellers {
    std::vector<std::uint8_t> times;  // by node, in answers; at most 2
    std::size_t twice = 0;
    void again(std::size_t nodes);
    void count(std::size_t node);
    [[nodiscard]] bool enough(std::size_t told) const;
  };
  /// What frames of one topic may hold.
  struct Topic {
    bool orders = false;  // asks set a mask
    bool tells = false;
    bool by_number = false;  // the ask says of what the answer tells
  };

  [[nodiscard]] static std::optional<Told> told_named(std::string_view quantity);
  [[nodiscard]] Topic look_at(const TopicSpec& spec);
  void forget(Nanos at);
  void order(const ExchangeObs& obs, std::int64_t mask, Nanos at);
  void take(std::size_t node, const Reading& reading, Nanos at, bool in_poll);

  const Protocol* protocol_;
  std::vector<Topic> topics_;  // of the bus
  std::vector<bool> worth_;    // by entry: whether to read it
  std::vector<NodeTold> nodes_;
  std::vector<std::uint64_t> all_cells_;  // by node: a mask
  std::array<Tellers, told_count> tellers_;
  std::array<Tellable, told_count> tellable_{};
  std::map<std::uint64_t, std::uint16_t> node_of_;  // by address, as answers showed
  std::vector<Reading> readings_;
  std::vector<NodeConditions> known_;
  Frame ask_;
  Frame answer_;
  Nanos at_ = 0;  // of the newest
  std::uint64_t version_ = 0;
};

}  // namespace hopbench
