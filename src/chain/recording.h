// What the events did for one entry of the plan, kept so that it can be told again.
#pragma once

#include <cstdint>
#include <vector>

#include "books/tap.h"
#include "chain/node_post.h"
#include "wires/injector.h"

namespace hopbench {

/// A row of a recording as one step of its way: why it was sent when it was.
struct RecordedHop {
  static constexpr std::uint16_t itself = 0xffff;
  std::uint16_t cause = itself;       // the row that its sender heard before it; itself: the exchange begins with it
  Nanos after = 0;                    // so long after that it is sent, unless its sender has something else to do:
  const Processor* sender = nullptr;  // null if it never has
  std::uint16_t sender_node = 0xffff;
  bool fetched = false;  // its receiver may fetch characters too late
  bool loose = false;    // when it is heard, and whether well, hangs on when it comes
  Nanos held = 0;        // it was sent so much later because its sender was busy
  Nanos decided = 0;     // after the exchange's start: when the last vote over it was over
  Nanos known = 0;       // and when its receiver knew
  Nanos silence = 0;     // in between
  Nanos arrives = 0;     // from its first edge at the sender to that at the receiver
  Nanos books = 0;       // from its end to when the books are closed over it
};

struct Recording {
  struct NodeCount {  // frames that a node hears in one exchange
    std::uint16_t node;
    std::uint64_t frames;
  };
  struct RowHits {  // bit noise on the frame of one row
    std::uint16_t link;
    std::uint32_t slots;
    bool answering;
    std::uint64_t clear_until;  // turn
  };
  /// An answer that the controller has yet to learn.
  struct Unread {
    Nanos asked_at = never;  // never: none
    Nanos filled_at = 0;
    Nanos taken_at = never;
    Nanos heard_at = 0;
  };

  /// How its node answers while its cells rest so long before it measures.
  struct Manner {
    Nanos settle = 0;
    Nanos after = 0;        // from the ask to the answer
    Nanos taken_after = 0;  // and to when values are taken; never: none are
  };

  /// The node answers in another manner. False if it is not known; then it has to be recorded anew.
  [[nodiscard]] bool answers_after(Nanos settle);
  /// As it stands now is how the node answers while its cells rest so long.
  void keep_manner(Nanos settle);

  bool usable = false;
  std::uint64_t record_at_turn = 0;  // not before; put off further each time it fails
  std::uint64_t put_off = 1;
  Nanos span = 0;  // from its start to the controller's next exchange
  Nanos over = 0;  // and to when nothing of it is on its way any more
  Nanos last_edge = 0;
  std::uint64_t next_touch = 0;  // turn
  Nanos calm_until = 0;
  std::vector<std::uint16_t> coupled;       // those of hits that ripple or bleeds can strike
  std::vector<RowHits> hits;                // as rows
  std::vector<Injector::Passage> passages;  // as rows; only if there are faults. Times are after the start
  std::vector<NodeCount> heard;
  std::uint64_t owed = 0;  // times that `heard` has yet to be counted
  Unread unread;           // of the last repeat
  // the bytes; times are after the start
  Frame asked;
  AnswerRecord answer;
  Frame answered;
  // the observation's own storage
  std::vector<Attempt> attempts;
  std::vector<HopRow> rows;
  ExchangeObs* seen = nullptr;
  // how its instants follow from each other
  bool timed = false;  // that is known; if not, it holds only while no clock moves and nobody has anything to do
  static constexpr std::uint64_t no_clocks = 0;
  std::uint64_t clocks = no_clocks;                  // it is as of this state of the clocks; no_clocks: of none
  bool renamed = false;                              // its instants are new since it was last told
  std::vector<RecordedHop> hops;                     // as rows
  std::vector<std::uint16_t> watched;                // rows whose instants hang on when the exchange comes
  std::uint16_t answer_cause = RecordedHop::itself;  // the row on which the node that answers was asked
  std::uint16_t heard_on = RecordedHop::itself;      // the row that the controller took for the answer
  std::uint16_t answer_row = RecordedHop::itself;    // the row on which it answers
  bool has_trip = false;
  std::vector<Manner> manners;
};

}  // namespace hopbench
