// What one exchange does where nothing goes wrong on the line, in closed form: worked out from docs/chain.md,
// docs/bus-description.md, docs/scenario.md and the comments of proto/scenario.proto, and from nothing in src/stations,
// src/wires or src/chain. A frame is a row of character starts; each hop turns it into the next row.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "scenario/description.h"
#include "seen/symptom.h"
#include "support/reference/plain_frame.h"

namespace hopbench::reference {

/// Nanoseconds, not rounded.
using Instant = long double;

struct PlainAsk {
  std::optional<std::size_t> node;  // nothing: everyone
  PlainTopic topic = PlainTopic::plate;
  std::uint16_t value = 0;  // of set_low and echo
  std::uint8_t first = 0;   // of cells
  std::uint8_t count = 0;
};

struct ExpectedRow {
  std::size_t link = 0;
  std::size_t attempt = 0;
  bool answering = false;
  std::size_t chars = 0;
  Instant start = 0;
  Instant end = 0;
  Symptom symptom = Symptom::none;
};

inline constexpr std::size_t elsewhere = 0xffff;

/// Why a try came to nothing, and where: at a node, on a link, or neither.
struct ExpectedReason {
  Cause cause = Cause::none;
  std::size_t station = elsewhere;
  std::size_t link = elsewhere;
};

struct ExpectedTry {
  Instant start = 0;
  Instant ask_end = 0;
  Outcome outcome = Outcome::lost;
  ExpectedReason why;
  // Late, and of the clocks the chain counts only what whole frames take; or it had to wait for an earlier try's work.
  bool clock_uncertain = false;
};

struct ExpectedExchange {
  std::vector<ExpectedRow> rows;
  std::vector<ExpectedTry> tries;
  Outcome outcome = Outcome::lost;
  Instant decided = 0;
  Instant round_trip = -1;
  Bytes asked;
  Bytes answered;
  Bytes came_round;  // the ask, where the controller hears it again
};

/// The nodes and what they remember from one exchange to the next. `bus` and `chain` must outlive it.
class OneExchange {
 public:
  OneExchange(const PlainBus& bus, const ChainDescription& chain);

  /// The exchange that asks this, with this number, as soon as its link is free from `start` on. All before it is over;
  /// its own tries may overlap, if no try is refused and every node takes off what is for it.
  ExpectedExchange next(const PlainAsk& ask, std::uint16_t number, Instant start);

 private:
  struct Passage {  // of a frame over a link, as its sender sends it
    std::vector<Instant> starts;
    Instant length = 0;  // of a character
    [[nodiscard]] Instant end() const { return starts.back() + length; }
  };
  struct Values {
    std::uint16_t low = 2500;  // docs/check.md: 2.5 V and 3.65 V until they are set
    std::uint16_t high = 3650;
  };
  struct Reply {
    std::size_t node = 0;
    Instant ready = 0;
    Instant measured_for = 0;
    PlainFrame frame;
  };
  struct Heard {
    Instant end = 0;
    Instant at = 0;  // when it is known to have ended
    PlainFrame frame;
  };
  struct Coming {  // a good answer on its way to the controller
    std::size_t attempt = 0;
    Heard heard;
    Bytes bytes;
  };

  const PlainBus& bus_;
  const ChainDescription& chain_;
  std::vector<Values> values_;
  std::vector<Instant> free_from_;        // of each link, at its sender
  std::vector<Instant> measuring_until_;  // of each node

  // What would be, to find out why something was late.
  bool in_question_ = false;
  bool exact_clocks_ = false;

  // Of the exchange and the try under way.
  ExpectedExchange* told_ = nullptr;
  std::vector<Coming> on_their_way_;
  std::optional<Reply> reply_;
  std::optional<Heard> at_controller_;
  bool at_last_ = false;  // an ask to everyone has reached the last node
  bool taken_ = false;    // the ask under way has come to its node
  ExpectedReason why_;

  [[nodiscard]] std::size_t count() const { return chain_.nodes.size(); }
  [[nodiscard]] const KindSpec& kind(std::size_t node) const { return chain_.kinds[chain_.nodes[node].kind]; }
  [[nodiscard]] Instant bit(const ClockSpec& clock) const;
  [[nodiscard]] Instant node_bit(std::size_t node) const;
  [[nodiscard]] Instant char_bits() const { return bus_.line.char_half_bits() / 2.0L; }
  [[nodiscard]] Instant silence(Instant bit) const;
  [[nodiscard]] bool knows(std::size_t node, std::uint8_t topic) const;
  /// What is for everyone comes back to the controller.
  [[nodiscard]] bool comes_round() const { return chain_.shape == Shape::ring && bus_.unclaimed == Unclaimed::returns; }
  [[nodiscard]] bool reads_head(std::size_t node) const;

  /// The first reason counts; what becomes of an ask beyond the node that has taken it is none.
  void blame(const ExpectedReason& why) {
    if (why_.cause == Cause::none && !taken_) why_ = why;
  }
  ExpectedTry attempt(const PlainAsk& ask, const PlainFrame& frame, std::size_t index, Instant start);
  bool takes_one(Instant pause);
  [[nodiscard]] Cause why_late(const PlainAsk& ask, const PlainFrame& frame, std::size_t index, Instant start) const;
  void travel(PlainFrame frame, std::size_t link, Passage passage, std::size_t attempt);
  bool takes(std::size_t node, const PlainFrame& frame) const;
  /// False: it goes no further.
  bool goes_on(std::size_t node, std::size_t link, PlainFrame& frame);
  [[nodiscard]] Passage passed_on(std::size_t node, std::size_t link, const Passage& in, std::size_t chars,
                                  Instant heard) const;
  void act(std::size_t node, const PlainFrame& ask, Instant heard);
  [[nodiscard]] Passage sent(Instant ready, std::size_t link, Instant bit, std::size_t chars) const;
};

}  // namespace hopbench::reference
