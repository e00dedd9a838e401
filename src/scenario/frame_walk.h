// A frame's way along a chain, hop by hop, if nothing damages it. Instants follow from characters, clocks, delays and
// ways of forwarding alone, by the same rules by which links go; so they are those of a run to the nanosecond.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "base/time.h"
#include "bus/protocol.h"
#include "scenario/description.h"
#include "scenario/link_table.h"

namespace hopbench {

/// How quick the stations of a chain are.
struct Speeds {
  Period controller = 1;  // one bit
  std::vector<Period> nodes;
  Nanos controller_held = 0;  // what is due waits so long for its processor
  std::vector<Nanos> held;    // the same, by node
};

/// Each clock goes exactly at the bus's rate, and no processor is busy.
Speeds exact_speeds(const Protocol& protocol, const ChainDescription& chain);

struct FrameOnLink {
  std::uint16_t link = 0;
  Nanos start = 0;  // first edge, where it is sent
  Nanos end = 0;    // last edge, where it is heard
  Nanos known = 0;  // it has been heard there: behind the silence that ends it, if one does
};

class FrameWalk {
 public:
  /// Protocol and chain must outlive it.
  FrameWalk(const Protocol& protocol, const ChainDescription& chain, Speeds speeds);

  /// So many characters at a station's own rate; `nobody`: the controller's.
  [[nodiscard]] Nanos span(std::uint16_t station, std::uint64_t chars) const;
  /// Put on link `first` at 0, over `links` (> 0) links in a row.
  [[nodiscard]] std::vector<FrameOnLink> along(std::uint16_t first, std::size_t links, std::uint64_t chars) const;

  struct Trip {
    std::vector<FrameOnLink> out;
    std::vector<FrameOnLink> home;
  };
  /// An ask put on its first link at 0, and its answer. `in_node`: from when the node has heard the ask until it
  /// answers. It waits for its link where the ask itself has gone on over that: such nodes keep nothing to themselves.
  [[nodiscard]] Trip there_and_back(std::uint16_t node, std::uint64_t ask_chars, std::uint64_t answer_chars,
                                    Nanos in_node) const;

  [[nodiscard]] const Speeds& speeds() const { return speeds_; }
  [[nodiscard]] const LinkTable& links() const { return links_; }

 private:
  [[nodiscard]] Period period(std::uint16_t station) const {
    return station == nobody ? speeds_.controller : speeds_.nodes[station];
  }

  /// By link: when the last frame before ends there, at its sender.
  using Taken = std::vector<Nanos>;
  [[nodiscard]] std::vector<FrameOnLink> way(std::uint16_t first, std::size_t links, std::uint64_t chars, Nanos due,
                                             const Taken& taken) const;
  [[nodiscard]] Nanos free_at(std::uint16_t link, Nanos due, const Taken& taken) const;
  [[nodiscard]] std::size_t goes_on_for(std::uint16_t node) const;

  const Protocol* protocol_;
  const ChainDescription* chain_;
  Speeds speeds_;
  LinkTable links_;
  std::uint32_t half_bits_;
};

}  // namespace hopbench
