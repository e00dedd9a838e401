// Whether an injected fault can ever strike: which frames pass where, held against what the fault names.
#pragma once

#include <cstdint>
#include <vector>

#include "bus/protocol.h"
#include "scenario/description.h"
#include "scenario/link_table.h"
#include "scenario/rehearsal.h"

namespace hopbench {

/// The frames of one exchange, as far as a fault looks at them.
struct Passage {
  std::uint16_t node = 0xffff;  // whom the ask is for; 0xffff everyone
  std::uint32_t topic = 0;
  std::uint64_t destination = 0;  // as the ask has it
  // Of the ask and of the answer, on the wire and as content; no characters: there is none.
  struct Side {
    std::uint32_t chars = 0;
    std::size_t content_bytes = 0;
    std::size_t payload_bytes = 0;
  };
  Side ask;
  Side answer;
};

/// The first thing that no frame gets past, in the order in which a fault looks at them.
enum class Spared : std::uint8_t {
  no,                // it can strike
  no_exchange,       // nothing of these topics is asked of these nodes
  no_way,            // such frames do not pass these hops, or are not passed on by these nodes
  not_whole,         // they do, but while they come in: what is held, late or altered must be at hand whole
  nothing_to_alter,  // they have no payload, no address, or that address already
  too_short,         // they have fewer bits
};

class FaultReach {
 public:
  FaultReach(const Protocol& protocol, const ChainDescription& chain);

  /// Whether the fault can strike any of these frames. Not for RESET.
  [[nodiscard]] Spared spares(const FaultSpec& fault, const std::vector<Passage>& passages) const;
  /// Most bits that a frame has which it can strike; 0 if there is none.
  [[nodiscard]] std::uint64_t most_bits(const FaultSpec& fault, const std::vector<Passage>& passages) const;

  /// What the plan asks, as it was rehearsed; entries that could not be asked are left out.
  [[nodiscard]] Passage passage_of(const PlanEntry& entry, const Rehearsal& rehearsal) const;
  /// All that any controller could ask and the fault may look at: each node and everyone, frames as long as there can
  /// be. Of topics that do not differ for the fault, one.
  [[nodiscard]] std::vector<Passage> any_passages(const FaultSpec& fault) const;

 private:
  struct Span {
    std::size_t from = 0;
    std::size_t to = 0;  // one behind the last; from == to: none
  };
  const Protocol* protocol_;
  const ChainDescription* chain_;
  LinkTable links_;
  Rehearser rehearser_;

  [[nodiscard]] Span ask_links(const Passage& passage) const;
  [[nodiscard]] Span answer_links(const Passage& passage) const;
  [[nodiscard]] bool sends_whole(std::size_t link) const;
  template <class Visit>
  Spared look(const FaultSpec& fault, const std::vector<Passage>& passages, Visit&& visit) const;
};

}  // namespace hopbench
