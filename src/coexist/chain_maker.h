// Chains of any order of kinds, made of what one scenario states, without going through text.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "bus/protocol.h"
#include "coexist/arrangements.h"
#include "scenario/description.h"

namespace hopbench {

/// What a chain of an order is made of: for each kind how it is asked, and the line of every hop.
class ChainMaker {
 public:
  /// `kinds`: into like.kinds; the new one first, then the old ones. Of each old kind the plan must ask a node
  /// something: what it asks of the first one it asks of all of the kind. A new kind of which it asks nothing is asked
  /// as the first kind with as many cells is; asked_as() tells. Hops are as the first one of `like` is. Faults are left
  /// out. `protocol` must outlive the maker.
  ChainMaker(const Protocol& protocol, const ChainDescription& like, std::vector<std::size_t> kinds);

  /// Old nodes are called old1, old2, ... and new ones new1, new2, ... from the controller on, and have addresses by
  /// that: a node keeps name, address and luck when nodes of the other sort come between.
  [[nodiscard]] ChainDescription make(const KindOrder& order) const;
  /// The same for short trials: nothing in it is left to chance, nothing changes by itself, each poll is asked in each
  /// round. Buffers, clocks, sleep, measurement and what the controller does about lost answers stay as they are.
  [[nodiscard]] ChainDescription make_still(const KindOrder& order) const;
  /// The plan that asks each node of a chain with this kind's way of asking, whatever its own is.
  [[nodiscard]] std::vector<PlanEntry> asked_like(const ChainDescription& chain, std::uint16_t kind) const;
  /// New nodes get other addresses: so many from this one on, as far as the bus has them. False if it has not.
  [[nodiscard]] bool renumber_new(ChainDescription& chain, std::uint64_t first) const;
  /// An address that no node of the chain has, nobody being meant.
  [[nodiscard]] std::optional<std::uint64_t> nobodys_address(const ChainDescription& chain) const;
  /// Puts orders to bleed all its cells before the plan, for each node that can. Returns how many cells.
  std::uint32_t bleed_all(ChainDescription& chain) const;

  /// The bus has an address for each node of a chain of so many.
  [[nodiscard]] bool has_addresses_for(std::size_t nodes) const { return nodes <= addresses_; }
  /// The plan asks something of everyone, or cells can be bled on this bus.
  [[nodiscard]] bool says_to_everyone() const;
  [[nodiscard]] const KindSpec& kind(std::uint16_t number) const { return like_.kinds[number]; }
  [[nodiscard]] std::uint16_t kinds() const { return static_cast<std::uint16_t>(like_.kinds.size()); }
  /// The plan asks something of a node of the kind.
  [[nodiscard]] bool is_asked(std::uint16_t number) const { return !asks_[number].empty(); }
  /// The kind in whose way the new one is asked; the new one itself if the plan asks it.
  [[nodiscard]] std::uint16_t asked_as() const { return asked_as_; }

 private:
  /// One poll of the plan, as a kind is asked.
  struct Ask {
    std::string poll;
    PlanEntry entry;
  };
  [[nodiscard]] std::vector<PlanEntry> plan_of(const ChainDescription& chain,
                                               const std::vector<std::uint16_t>& asked_as) const;
  [[nodiscard]] ChainDescription of(const ChainDescription& like, const KindOrder& order) const;

  const Protocol* protocol_;
  ChainDescription like_;   // without nodes and plan; its kinds in the order of KindOrder
  ChainDescription still_;  // the same for trials
  LinkSpec line_;           // of every hop
  LinkSpec still_line_;
  std::vector<std::string> polls_;      // names, in the order of the plan
  std::vector<std::vector<Ask>> asks_;  // by kind
  std::vector<PlanEntry> to_everyone_;
  std::uint16_t asked_as_ = new_kind;
  std::size_t addresses_ = 0;
};

/// The chain without the new nodes: what the old ones were before.
KindOrder without_new(const KindOrder& order);
bool has_new(const KindOrder& order);
bool has_old(const KindOrder& order);
/// "old1 to old3 (single), new1 (block), old4 (single)".
std::string in_words(const ChainDescription& chain);

}  // namespace hopbench
