// What travels: a frame with the bench's own bookkeeping around it, and its flight over one link.
#pragma once

#include <cstdint>
#include <vector>

#include "base/time.h"
#include "bus/decoder.h"
#include "bus/frame.h"
#include "line/conditions.h"
#include "line/identity.h"
#include "line/levels.h"
#include "line/retime.h"
#include "line/signal.h"
#include "seen/symptom.h"

namespace hopbench {

inline constexpr std::uint64_t no_exchange = ~std::uint64_t{0};
inline constexpr std::uint16_t nobody = 0xffff;
inline constexpr std::uint32_t no_fault = 0xffffffff;

/// A frame on its way. Only `frame` (or, if raw, `content`) is on the wire; the rest is the bench's own.
struct Parcel {
  Frame frame;       // what it should say
  bool raw = false;  // it travels as `content`, which may be damaged
  Content content;
  bool inherited = false;  // content is known to be damaged
  FrameKey key;
  std::uint64_t exchange = no_exchange;  // trace that it belongs to
  bool fake = false;                     // made by an injected fault
  Nanos taken_at = never;                // when the values in it were measured; never: none were
  Nanos held = 0;                        // how long the measurement held it back
  Nanos busy = 0;                        // how long processors had something else to do
  std::uint16_t busy_station = nobody;   // the node where it waited longest for that
  Nanos busy_there = 0;
  std::int64_t off_by_uv = 0;  // the most that a value in it is off, for the cell was bled meanwhile

  /// It had to wait at `station`, whose processor had something else to do.
  void delayed_by(Nanos span, std::uint16_t station) {
    busy += span;
    if (span <= busy_there) return;
    busy_there = span;
    busy_station = station;
  }
};

/// Why something came to nothing.
struct Blame {
  Cause cause = Cause::none;
  std::uint16_t station = nobody;
  std::uint16_t link = nobody;
  std::uint32_t fault = no_fault;
};

/// One parcel over one link.
struct Flight {
  std::uint32_t tag = 0;  // names it while it matters
  std::uint16_t link = 0;
  Parcel parcel;
  Timing sent;            // at the sender
  Timing heard;           // at the receiver
  bool has_wire = false;  // the bytes on the wire are `wire`, whatever the parcel says
  WireBytes wire;
  bool foreign = false;     // made by a real controller: nobody knows what it should say
  bool has_levels = false;  // passed on electrically by a node that had it damaged: levels come as they are
  Levels levels;
  std::uint32_t slot_offset = 0;  // where the noise field of the frame goes on (frames that come in pieces)
  // injected
  bool lost = false;
  std::vector<std::uint32_t> inverted;
  Blame injected;
  // what happened to it
  Strikes strikes;
  bool overrun = false;
  bool merged = false;
  Nanos stretch = 0;         // by which low levels are longer than sent, from the links that it has passed as edges
  bool deaf = false;         // the receiving node was off for part of it
  bool asleep = false;       // the receiving node slept when it began
  bool not_fetched = false;  // some characters were not fetched in time
  Cause deaf_because = Cause::node_off;
  Cause cut_because = Cause::injected_reset;
  bool cut_off = false;    // the sending node went off in the middle
  bool resolved = false;   // its row has a symptom
  bool explained = false;  // and its truth is written
  bool clean = false;      // it went over the link without bytes
  bool passed_on = false;  // by character or electrically: not to be forwarded again
  std::uint32_t row = 0;   // in its trace
  // by character: what goes out again, and when
  Retimed relay;
  Content relay_bytes;
  bool relay_damaged = false;
};

/// What a station is told of what it heard.
struct Heard {
  const Finding* finding = nullptr;
  const Flight* flight = nullptr;   // the transmission it came in; null if it is forgotten already
  Symptom symptom = Symptom::none;  // none: all checks passed
  [[nodiscard]] bool good() const { return symptom == Symptom::none; }
};

/// A node or a controller, at the end of its links.
class Station {
 public:
  virtual void on_heard(Nanos now, std::uint16_t link, const Heard& heard) = 0;

 protected:
  ~Station() = default;
};

/// When a frame goes out, as its sender sees it.
struct Sent {
  Nanos start = 0;
  Nanos end = 0;
};

}  // namespace hopbench
