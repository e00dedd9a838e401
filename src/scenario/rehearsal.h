// An exchange on paper: what the ask says, what the nodes make of it, and what the controller reads of the answer, if
// nothing disturbs it. No time, no line, no luck.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "bus/protocol.h"
#include "scenario/description.h"
#include "scenario/quantity.h"

namespace hopbench {

/// What nodes say in a rehearsal: of everything that they could have, one end of its range or the middle.
enum class Telling : std::uint8_t { least, middle, most };

/// A value that does not arrive as it was.
struct Misread {
  std::string field;  // of the answer, or the registers' quantity
  Quantity quantity = Quantity::cell_mv;
  std::int64_t has = 0;    // the node
  std::int64_t told = 0;   // as the controller reads it
  std::int64_t least = 0;  // that the field can say
  std::int64_t most = 0;
};

struct Rehearsal {
  enum class End : std::uint8_t {
    answered,           // or done, where nobody is to answer
    not_asked,          // the plan's values make no ask (reason)
    ask_lost,           // the ask is not heard as it was sent
    ask_used_up,        // it runs out of passes at a node on the way
    not_passed_on,      // a node on the way does not know the topic, and such nodes pass nothing on
    taken_by_other,     // a node on the way takes it for its own
    taken_twice,        // a node behind it takes it as well
    not_taken,          // its node does not take it for its own
    unknown_topic,      // its node does not know the topic
    refused,            // its node refuses (reason)
    answer_lost,        // the answer is not heard as it was sent
    answer_used_up,     // it runs out of passes at a node on the way
    not_its_answer,     // the controller does not take it for the answer
    not_readable,       // what the controller reads is not what was filled in
    passes_for_answer,  // the ask comes round, and the controller takes it for the answer
  };
  End end = End::answered;
  Refusal reason = Refusal::unknown_topic;
  std::uint16_t at = 0xffff;  // node where it ended
  Frame ask;
  Frame answer;
  std::uint32_t cells = 0;                // whose voltages the answer tells
  bool measured = false;                  // the answer waits for a measurement
  std::map<Quantity, std::int64_t> sets;  // in the node
  std::vector<Misread> misread;
};

/// Rehearses one entry of asked_entries(). The protocol's description must have no faults.
class Rehearser {
 public:
  Rehearser(const Protocol& protocol, const ChainDescription& chain) : protocol_(&protocol), chain_(&chain) {}

  /// `number`: of the exchange, where the bus has one. `on_the_way`: whether what happens at the nodes between is
  /// looked at too; it hangs on neither `telling` nor `number`.
  [[nodiscard]] Rehearsal rehearse(const PlanEntry& entry, Telling telling, std::uint64_t number,
                                   bool on_the_way) const;

  /// Whether a node cannot keep what is for it from going further: it passes on as it comes, and sees no head.
  [[nodiscard]] bool passes_everything(std::size_t node) const;
  /// The frame as it is heard at the far end of a hop that nothing disturbs; none if it is not heard as one good frame.
  [[nodiscard]] std::optional<Frame> carried(const Frame& frame) const;

 private:
  const Protocol* protocol_;
  const ChainDescription* chain_;
};

}  // namespace hopbench
