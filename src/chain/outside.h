// The controller's seat when somebody else sits in it: a real controller behind a port. It is not ours to say when it
// gives up; an ask that follows another one without an answer in between tells.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "chain/parcel.h"
#include "chain/world.h"

namespace hopbench {

class Outside final : public Station {
 public:
  explicit Outside(World& world);

  /// Entries of RunInfo: one for each node and topic, then one for all else.
  [[nodiscard]] static std::vector<EntryInfo> entries_of(const ChainDescription& chain, const Protocol& protocol);

  /// Bytes from the port, at the world's present instant.
  void arrive(bool paced, std::span<const std::uint8_t> bytes, std::span<const std::uint8_t> flags);

  /// The first node's ear heard something of what came from outside: now it is known what was asked.
  void ask_understood(const Finding& finding);

  void on_heard(Nanos now, std::uint16_t link, const Heard& heard) override;

 private:
  void begin(Nanos start);

  World* world_;
  std::uint64_t hash_;
  std::uint64_t asks_ = 0;
  std::uint64_t exchange_ = no_exchange;  // the latest ask
  std::uint32_t row_ = 0xffffffff;        // of the ask, while it comes in pieces
  std::uint32_t slots_ = 0;
  Nanos last_edge_ = -1;
};

}  // namespace hopbench
