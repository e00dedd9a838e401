// One frame over one link: what it says, whose it is, and what happens to it.
#pragma once

#include <cstdint>
#include <vector>

#include "base/time.h"
#include "books/passport.h"
#include "bus/frame.h"
#include "line/conditions.h"
#include "line/levels.h"
#include "line/retime.h"
#include "line/signal.h"

namespace hopbench {

/// A frame as a station gives it to a link: what it should say, and its bytes if they are to go out as they are.
struct Parcel {
  Frame frame;
  bool raw = false;  // it travels as `content`, which may be damaged
  Content content;
  Passport passport;
};

struct Flight {
  std::uint32_t tag = 0;  // names it while it matters
  std::uint16_t link = 0;
  Parcel parcel;
  Timing sent;            // at the sender
  Timing heard;           // at the receiver
  bool has_wire = false;  // the bytes on the wire are `wire`, whatever the parcel says
  WireBytes wire;
  bool foreign = false;     // made by a real station: nobody knows what it should say
  bool has_levels = false;  // passed on electrically by a node that had it damaged: levels come as they are
  Levels levels;
  std::uint32_t slot_offset = 0;  // where the noise field of the frame goes on (frames that come in pieces)
  Nanos wanted = 0;               // when it was to go, before anything injected held it up
  std::uint32_t held_by = no_fault;  // and what did
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
  std::uint8_t waited = 0;  // times, for its end to become clear
  bool passed_on = false;  // by character or electrically: not to be forwarded again
  std::uint32_t row = 0;   // in its trace
  // by character: what goes out again, and when
  Retimed relay;
  Content relay_bytes;
  bool relay_damaged = false;
};

/// When a frame goes out, as its sender sees it.
struct Sent {
  Nanos start = 0;
  Nanos end = 0;
};

}  // namespace hopbench
