// Injected faults: the error classes of IEC 61784-3, applied to frames as they are put on a link, and two faults of
// nodes. Whether a fault strikes a frame is drawn by the fault's name and the frame's, so other luck does not move.
#pragma once

#include <cstdint>
#include <vector>

#include "base/luck.h"
#include "bus/protocol.h"
#include "scenario/description.h"
#include "wires/flight.h"

namespace hopbench {

/// What to do with a frame that is about to be put on a link.
struct Injection {
  bool lost = false;
  Nanos delay = 0;
  bool hold_back = false;  // until another frame has passed, at most hold_for
  Nanos hold_for = 0;
  std::vector<std::uint32_t> inverted;  // slots, in rising order
  struct Copy {
    Nanos after = 0;           // pause behind the frame
    bool of_previous = false;  // not this frame but the one before it on this link
    Blame blame;
  };
  std::vector<Copy> copies;
  bool altered = false;               // the parcel itself was changed (masquerade, address)
  Blame harm;                         // the first fault that damaged, swallowed or altered it
  Blame nuisance;                     // the first of the others: it need not have done harm
  std::vector<std::uint32_t> struck;  // all that did, by number

  void clear();
};

class Injector {
 public:
  Injector(const ChainDescription& chain, const Protocol& protocol, const Luck& luck);

  /// True if nothing can ever strike: the usual case, made cheap.
  [[nodiscard]] bool empty() const { return faults_.empty(); }
  /// Cells being bled from now on; Works::changing() comes before.
  void set_balancing(std::uint32_t cells) { balancing_ = cells; }
  /// Strikes so far, of all faults.
  [[nodiscard]] std::uint64_t struck() const { return struck_; }
  [[nodiscard]] bool empty_memory() const { return memory_.empty(); }

  /// Judges a frame that is about to be put on `link` at `at`. `slots`: bits on the wire. `node`: whom the exchange is
  /// with. `whole`: the sender has all of it; one that is passed on while it comes in can be damaged, lost or copied,
  /// but not kept back, delayed or altered. May change the parcel (masquerade, address).
  void judge(std::uint16_t link, std::uint64_t link_hash, Nanos at, std::uint32_t slots, std::uint16_t node, bool whole,
             Parcel& parcel, Injection& injection);

  /// A frame of this name that might be judged between `from` and `to`.
  struct Passage {
    std::uint16_t link = 0;
    std::uint64_t link_hash = 0;
    std::uint16_t forwarder = nobody;  // node that has it in its memory before it goes out; nobody: it is made there
    Nanos from = 0;
    Nanos to = 0;
    std::uint16_t node = nobody;  // whom the exchange is with
    std::uint32_t topic = 0;
    FrameKey key;
  };
  /// True if no fault strikes it. False if one does or may.
  [[nodiscard]] bool spares(const Passage& passage) const;
  /// Some fault sends an earlier frame again, now or later: what went over a link before matters.
  [[nodiscard]] bool needs_previous(Nanos now) const;

  /// Whether `node`, forwarding this parcel at `at`, damages it in its memory; then the parcel becomes raw.
  [[nodiscard]] bool damage_in_memory(std::uint16_t node, Nanos at, Parcel& parcel, Blame& blame);

 private:
  struct Armed {
    const FaultSpec* spec;
    std::uint32_t number;
    std::uint64_t name_hash;
    std::uint64_t threshold;  // strikes if the draw lies below; all ones: always
    std::vector<std::uint32_t> topics;
    std::uint64_t struck = 0;
  };
  [[nodiscard]] bool strikes(Armed& armed, std::uint64_t place_hash, Nanos at, std::uint16_t node,
                             const Parcel& parcel);
  [[nodiscard]] bool may_strike(const Armed& armed, std::uint64_t place_hash, const Passage& passage) const;
  [[nodiscard]] StreamKey stream(const Armed& armed, Purpose purpose, std::uint64_t place_hash,
                                 const FrameKey& key) const;

  const ChainDescription* chain_;
  const Protocol* protocol_;
  Luck luck_;
  std::vector<Armed> faults_;  // of frames
  std::vector<Armed> memory_;  // of nodes
  std::uint64_t struck_ = 0;
  std::uint32_t balancing_ = 0;
  std::size_t destination_field_;
  std::size_t source_field_;
};

/// Index of a header field in Frame::field; Frame::field.size() if there is none of that name.
std::size_t header_index(const BusDescription& bus, const std::string& name);

}  // namespace hopbench
