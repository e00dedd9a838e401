// What the chain tells the outside: plain values, in the order in which exchanges close. Whoever listens
// (measures, capture) gets the same, live or read back; nothing here flows back into the chain.
#pragma once

#include <compare>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/time.h"
#include "seen/symptom.h"

namespace hopbench {

/// From where a link was seen. Values are stored in captures.
enum class Vantage : std::uint8_t {
  unseen = 0,
  simulated = 1,  // every edge is known
  tapped = 2,     // a listener on the wire
  at_port = 3,    // the computer's own port
  reported = 4,   // a node's own counters
};
/// "unknown (57)" of a value that this code does not know.
std::string_view name_of(Vantage vantage);
bool is_known(Vantage vantage);

/// One direction of one hop. Index 0.. in the order a frame travels: ring, links 0..N are hops 1..N+1; line,
/// links 0..N-1 are hops 1..N outward and links N..2N-1 are hops N..1 homeward.
struct LinkInfo {
  std::uint16_t hop = 0;
  std::string from;  // station names
  std::string to;
  bool homeward = false;  // line only: towards the controller
  Vantage vantage = Vantage::simulated;
};

struct EntryInfo {
  std::string name;  // of the plan entry, e.g. "cells/n7"; "outside" for a controller that is not ours
  std::string node;  // "" for everyone
  std::string topic;
  std::uint32_t first_cell = 0;  // an answer tells the voltages of the node's cells first_cell..first_cell + cells - 1
  std::uint32_t cells = 0;       // 0: of none
};

/// What a listener is told once, before anything else.
struct RunInfo {
  std::string scenario;  // its name
  std::uint64_t seed = 0;
  bool simulated = true;  // virtual time; false if a real port was part of it
  bool truth_known = true;
  /// A program sat in the controller's seat and took part in virtual time. What it decided stands in no record, so that
  /// arrivals alone do not bring the run about again.
  bool granted_time = false;
  std::string controller;         // names
  std::optional<Nanos> time_out;  // from the end of its ask to when the controller gives up, if that is known
  std::vector<std::string> nodes;
  std::vector<std::uint32_t> cells;  // per node
  std::vector<LinkInfo> links;
  std::vector<EntryInfo> entries;
  std::vector<std::string> faults;  // names of injected faults
};

/// One frame on one link. Observed only.
struct HopRow {
  Nanos start = 0;  // first edge at the sender
  Nanos end = 0;    // last edge at the receiver
  std::uint16_t link = 0;
  std::uint16_t chars = 0;   // characters as sent
  std::uint8_t attempt = 0;  // 0 the first try
  bool answering = false;    // towards the controller with an answer
  std::uint8_t copy = 0;     // repeated or inserted copies count up
  Symptom symptom = Symptom::none;
  bool inherited = false;  // it was already bad when it was put on this link

  [[nodiscard]] bool heard_well() const { return symptom == Symptom::none && !inherited; }
  /// On this link, not before it.
  [[nodiscard]] bool damaged_here() const { return symptom != Symptom::none && !inherited; }
  friend bool operator==(const HopRow&, const HopRow&) = default;
};

/// Where a frame was damaged on a link: what came out, held against what went in.
struct RowDamage {
  std::uint32_t row = 0;  // index into ExchangeObs.rows, of one that was damaged there
  std::uint16_t at = 0;   // place of the first wrong or missing character on the wire, from 1
  std::uint8_t bits = 0;  // of it that were turned over; 0: it did not come, or came without its stop bit
  friend bool operator==(const RowDamage&, const RowDamage&) = default;
};

struct Attempt {
  Nanos start = 0;
  Nanos ask_end = 0;  // last edge of the ask leaving the controller
  Outcome outcome = Outcome::lost;
  friend bool operator==(const Attempt&, const Attempt&) = default;
};

/// No answer of such an exchange was heard well by the controller.
[[nodiscard]] inline bool never_came_well(Outcome outcome) {
  return outcome == Outcome::lost || outcome == Outcome::garbled;
}

/// One exchange, observed only. Spans and pointers are valid during the call that hands it over.
struct ExchangeObs {
  std::uint64_t number = 0;     // 0.. in the order of asking
  std::uint32_t entry = 0;      // into RunInfo.entries
  std::uint64_t turn = 0;       // that entry's n-th turn
  std::uint16_t node = 0xffff;  // destination: index into RunInfo.nodes, 0xffff everyone or unknown
  Nanos start = 0;              // first edge of the first ask
  Nanos decided = 0;            // when its outcome was decided for the controller
  Nanos closed = 0;             // when this record was closed; records come in this order
  Nanos round_trip = -1;        // of the try that was answered, first edge of ask to end of answer; -1 none
  Nanos since_last = -1;        // from the last edge the controller heard or sent before; -1 none
  Outcome outcome = Outcome::lost;
  bool ambiguous = false;         // what was heard would have fitted another exchange as well
  bool doubtful = false;          // the port was so late that this may have decided the outcome
  Nanos port_late = 0;            // the most that a real port was late by meanwhile
  std::uint32_t kept_one_in = 1;  // n: of a thinned capture, one in n such exchanges was kept; 1: kept for itself
  std::span<const Attempt> attempts;
  std::span<const HopRow> rows;            // by (start, link, attempt, answering, copy)
  std::span<const std::uint8_t> asked;     // content of the first ask
  std::span<const std::uint8_t> answered;  // content of the last answer heard with an outcome, if any
  /// Where no answer came well to the controller: content of the last that came well over its first hop, if seen.
  std::span<const std::uint8_t> replied;
  std::span<const RowDamage> damage;  // of rows of which both ends of the link were seen, in order
};

/// Why a frame was damaged on a link.
struct RowTruth {
  std::uint32_t row = 0;  // index into ExchangeObs.rows
  Cause cause = Cause::none;
  std::uint32_t fault = 0xffffffff;  // index into RunInfo.faults for injected ones
  std::uint32_t bit = 0xffffffff;    // first damaged bit on the wire, from the frame's first edge
  bool undetected = false;           // damaged, yet every check passed
  friend bool operator==(const RowTruth&, const RowTruth&) = default;
};

/// Why a try came to nothing.
struct AttemptTruth {
  Cause cause = Cause::none;       // none if it was answered
  std::uint16_t station = 0xffff;  // where it ended: node index, 0xffff the controller or on a link
  std::uint16_t link = 0xffff;
  std::uint32_t fault = 0xffffffff;
  friend bool operator==(const AttemptTruth&, const AttemptTruth&) = default;
};

/// An injected fault struck a frame, whether that did harm or not.
struct FaultStrike {
  std::uint32_t fault = 0;      // index into RunInfo.faults
  std::uint16_t link = 0xffff;  // that the frame was put on; 0xffff: in the memory of a node that passed it on
  std::uint8_t attempt = 0;
  bool answering = false;
  std::uint8_t copy = 0;
  friend auto operator<=>(const FaultStrike&, const FaultStrike&) = default;
};

struct ExchangeTruth {
  std::span<const RowTruth> rows;
  std::span<const AttemptTruth> attempts;  // as many as ExchangeObs.attempts
  std::span<const FaultStrike> strikes;    // in order
};

/// Something heard at the controller that belongs to no open exchange.
struct Stray {
  Nanos at = 0;
  std::uint16_t link = 0;
  std::span<const std::uint8_t> heard;
  Symptom symptom = Symptom::none;
  std::uint64_t belongs_to = ~std::uint64_t{0};  // exchange number if known
};

/// Bytes that a real port took in, or a time in which it was late, so that the session can be run again in virtual
/// time.
struct Arrival {
  Nanos at = 0;
  bool paced = false;  // bytes have taken their time on a real wire
  std::span<const std::uint8_t> bytes;
  std::span<const std::uint8_t> flags;  // 1 framing error, 2 parity error, 4 overrun before; empty: all well
  Nanos late_from = 0;                  // what was due from here on was sent or read at late_to only; equal: in time
  Nanos late_to = 0;
};

/// A healthy exchange that went as one before it, its model: the same tries, rows and spans of time, at another time.
/// What its frames said is not told.
struct Repeat {
  std::uint32_t model = 0;  // index
  std::uint64_t number = 0;
  std::uint64_t turn = 0;
  Nanos start = 0;  // everything else lies as far from it as in the model
  Nanos since_last = -1;
};

/// Exchanges of a capture that have no record of their own, as what they come to. Comes where they would have.
struct Tally {
  Nanos from = 0;  // first start
  Nanos to = 0;    // last close
  std::uint64_t exchanges = 0;
  std::uint64_t first_number = 0;
  std::uint64_t last_number = 0;
  std::span<const std::uint8_t> measures;  // see measure/measures.h
};

struct NodeState {
  std::int32_t board_mc = 0;  // thousandths of a degree Celsius
  std::int32_t supply_mv = 0;
  std::int32_t clock_ppb = 0;  // off nominal
  std::uint32_t flags = 0;     // 1: off or starting up; bits 8 to 15: cells that it balances; from 16 on: which
  friend bool operator==(const NodeState&, const NodeState&) = default;
};

/// Conditions in force from `at` on, until the next.
struct State {
  Nanos at = 0;
  std::uint32_t cells_balancing = 0;
  std::int32_t charge_ma = 0;        // negative: discharge
  std::span<const NodeState> nodes;  // as RunInfo.nodes
};

/// Nothing was seen from `from` to `to`: a port that was away, a computer that slept.
struct Gap {
  Nanos from = 0;
  Nanos to = 0;
  std::string_view why;
};

/// Records that the writer of a capture had to leave out.
struct Dropped {
  Nanos from = 0;
  Nanos to = 0;
  std::uint64_t records = 0;
  std::string_view why;
};

/// Something done by hand while the chain ran, or written down by whoever watched.
struct Remark {
  Nanos at = 0;
  std::string_view text;
};

/// How a real port kept up: how late it was, and what never reached the controller.
struct Lateness {
  std::uint64_t sends = 0;  // pieces handed over
  Nanos worst = 0;          // from the time it was due until the port had its last byte
  Nanos total = 0;
  std::uint64_t stalls = 0;  // times in which nothing was read or sent though it was time to look
  Nanos worst_stall = 0;
  Nanos stalled = 0;               // all of them together
  std::uint64_t not_fetched = 0;   // bytes thrown away because the controller did not fetch them
  std::uint64_t nobody_there = 0;  // bytes thrown away because nobody had the port open
  Nanos port_median = 0;           // what the port adds by itself, each way, as measured at the start; 0: not measured
  Nanos port_99 = 0;               // 99 % of the measurements were no longer
  friend bool operator==(const Lateness&, const Lateness&) = default;
};

/// Listens. Called from the thread that runs the chain, in order. Nothing here has a default: a kind of record added
/// here does not compile until each listener says what it does with it. What most of them say stands in
/// seen/forwarding_sink.h (hands everything on), seen/whole_sink.h (no repeats) and seen/ignoring_sink.h.
class Sink {
 public:
  virtual void begin(const RunInfo&) = 0;
  virtual void exchange(const ExchangeObs&, const ExchangeTruth*) = 0;  // truth: null where it is not known
  /// Some repeats, in the order in which they were closed. `models` are exchanges that were
  /// told whole before, or would have been: at other instants one is another model, named by the number of its first.
  virtual void again(std::span<const ExchangeObs> models, std::span<const Repeat> repeats) = 0;
  virtual void stray(const Stray&) = 0;
  virtual void arrival(const Arrival&) = 0;
  virtual void tally(const Tally&) = 0;
  virtual void state(const State&) = 0;
  virtual void gap(const Gap&) = 0;
  virtual void dropped(const Dropped&) = 0;
  virtual void command(const Remark&) = 0;
  virtual void note(const Remark&) = 0;
  virtual void end(Nanos until, const Lateness&) = 0;  // the run is over; `until` is the last instant covered

  /// Exchanges from this number on are wanted whole. Repeats before it may come by again(), which says less and costs
  /// less. Asked again after each exchange that was told whole. 0: again() is never called.
  [[nodiscard]] virtual std::uint64_t whole_from() const = 0;
  /// The last so many before an exchange that can be no repeat are wanted whole as well, whatever their numbers.
  /// Whoever does not know what follows tells every exchange whole instead.
  [[nodiscard]] virtual std::uint32_t whole_before() const { return 0; }

 protected:
  ~Sink() = default;
};

}  // namespace hopbench
