// A scenario as data: kinds of node, the chain, the line, faults, the controller's plan. Plain structs with
// names resolved to indices; text/ makes them from the scenario file and reports what does not fit.
// Spans are nanoseconds, probabilities are parts per 1e15 (integers, so that no rounding differs between machines).
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/time.h"
#include "line/spec.h"
#include "pack/spec.h"
#include "seen/symptom.h"

namespace hopbench {

enum class Forwarding : std::uint8_t { whole, by_character, electrical };

struct ForwardingSpec {
  Forwarding kind = Forwarding::whole;
  Nanos after = 200 * microsecond;  // whole: from hearing the frame to passing it on
  std::uint32_t lag_half_bits = 2;  // by character: from the end of a character heard to the start of it sent
  std::uint32_t fifo_chars = 16;    // by character: characters heard and not yet sent; more is an overrun
  Nanos delay = 0;                  // electrical: from edge to edge
  friend bool operator==(const ForwardingSpec&, const ForwardingSpec&) = default;
};

enum class MeasureWhen : std::uint8_t {
  on_ask,        // a snapshot is taken for the ask and holds the answer back
  free_running,  // taken every `period`; the answer comes from the newest finished one
};

enum class BleedWhile : std::uint8_t {
  paused,        // bleeding or not, the cells are given time to settle
  paused_if_on,  // only while the node bleeds any cell
  kept_on,       // measured while bled: settle is not used, and what is measured is too low
};

struct MeasurementSpec {
  MeasureWhen when = MeasureWhen::on_ask;
  BleedWhile bleed = BleedWhile::paused;
  Nanos settle = 0;    // bleed paused, cells settle
  Nanos snapshot = 0;  // all cells sampled
  Nanos per_cell = 0;  // conversion of each cell asked for
  Nanos period = 0;    // free running
  friend bool operator==(const MeasurementSpec&, const MeasurementSpec&) = default;
};

/// Something that a processor does besides handling frames, again and again.
struct DutySpec {
  std::string name;             // unique at its station; names its luck
  Nanos every = 0;              // from start to start
  Nanos takes = 0;              // at least
  Nanos takes_up_to = 0;        // drawn anew each time, uniform; below `takes`: always `takes`
  Nanos per_bleeding_cell = 0;  // on top, for each cell of the node that is bled
  Nanos jitter = 0;             // each start later by up to this, drawn anew
  bool masks = false;           // nobody fetches characters meanwhile
  friend bool operator==(const DutySpec&, const DutySpec&) = default;
};

struct ProcessorSpec {
  std::vector<DutySpec> duties;
  std::uint32_t fifo_chars = 0;  // characters that the receiver keeps until they are fetched; 0: no limit
  Nanos watchdog = 0;            // a duty that takes longer restarts the node; 0: none
  friend bool operator==(const ProcessorSpec&, const ProcessorSpec&) = default;
};

enum class OnBadCheck : std::uint8_t { drop, pass_on, refuse };
enum class OnUnknownTopic : std::uint8_t { drop, refuse };

/// Cell values until there is a battery behind them: a level, a spread drawn per cell, a slow daily swing.
struct CellLevels {
  std::int64_t level_uv = 3'300'000;
  std::int64_t spread_uv = 5'000;  // uniform +-, per cell, drawn once
  std::int64_t swing_uv = 20'000;  // triangle, +- around the level
  Nanos swing_period = 86'400 * second;
  friend bool operator==(const CellLevels&, const CellLevels&) = default;
};

/// A design mistake of a kind, to try a test against. What each does is told in proto/scenario.proto, and done in
/// stations/flaw.h.
enum class Flaw : std::uint8_t {
  none,
  answers_broadcast,
  forgets_topic,  // `name`
  repeats_number,
  number_bits,   // `value`
  address_bits,  // `value`
  stale_snapshot,
  rewrites_field,  // `name`
  remakes_checks,
  acts_again_after,  // `after`
  cells_off_by_one,
  counts_one_more,
  answers_unknown_topic,
  hangs_above_bytes,  // `value`
};

struct FlawSpec {
  Flaw mistake = Flaw::none;
  std::string name;
  std::uint64_t value = 0;
  Nanos after = 0;
  friend bool operator==(const FlawSpec&, const FlawSpec&) = default;
};

struct KindSpec {
  std::string name;
  std::uint32_t cells = 1;  // 1: a single-cell node; 4..16: a multi-cell node
  ForwardingSpec forwarding;
  Nanos answer_after = 500 * microsecond;  // from hearing an ask to answering, measurement apart
  std::uint32_t buffer_bytes = 0;          // longest content it can hold; 0: no limit
  MeasurementSpec measurement;
  std::vector<std::string> topics;           // known; empty: all of the bus
  std::vector<std::string> measured_topics;  // topics whose answer needs a measurement; empty: those whose answer
                                             // carries the quantity cell_mv
  OnBadCheck on_bad_check = OnBadCheck::drop;
  OnUnknownTopic on_unknown_topic = OnUnknownTopic::drop;
  bool enrols = false;                 // has no address until it is offered one
  bool keeps_address = false;          // over a reset
  Nanos start_up = 100 * millisecond;  // silent after a reset
  ClockSpec clock;
  ReceiverSpec receiver;
  CellLevels levels;
  ProcessorSpec processor;
  Nanos sleep_after = 0;  // silence after which it sleeps; 0: never
  Nanos wake_up = 0;      // from the edge that wakes it: characters that begin before that are lost
  BoardSpec board;
  bool holds_line = false;  // without power, what it sends on is held low
  FlawSpec flaw;
  friend bool operator==(const KindSpec&, const KindSpec&) = default;
};

struct NodeSpec {
  std::string name;
  std::size_t kind = 0;                  // into ChainDescription.kinds
  std::uint64_t address = 0;             // fixed, or the one that enrolment will offer it
  std::optional<std::uint64_t> goes_by;  // in its place, if it was set to a wrong one
  std::optional<ClockSpec> clock;        // instead of the kind's
  std::optional<BoardSpec> board;        // instead of the kind's
  friend bool operator==(const NodeSpec&, const NodeSpec&) = default;
};

/// The error classes of IEC 61784-3, and two of the bench's own.
enum class FaultClass : std::uint8_t {
  corruption,
  repetition,
  sequence,
  loss,
  delay,
  insertion,
  masquerade,
  address,
  memory,  // a forwarding node damages the frame in its memory, its own checks made good
  reset,   // a node restarts
};

enum class LegFilter : std::uint8_t { both, asks, answers };

struct FaultSpec {
  std::string name;
  FaultClass kind = FaultClass::loss;
  // Where and when it may strike; empty or nothing means everywhere.
  std::vector<std::uint16_t> links;  // indices, see seen/observation.h
  std::vector<std::uint16_t> nodes;  // destination (asks) or origin (answers); for reset and memory: the node itself
  std::vector<std::string> topics;
  LegFilter leg = LegFilter::both;
  Nanos from = 0;
  Nanos to = never;
  std::uint32_t while_balancing = 0;  // only while at least that many cells are bled
  Ppq rate = certain;                 // chance per frame that passes all filters
  std::uint64_t at_most = 0;          // strikes in all; 0: no limit
  std::vector<Nanos> at;              // reset: instants
  // What it does.
  std::uint32_t bits = 1;                  // corruption, memory: bits flipped, at drawn places
  std::optional<std::uint32_t> first_bit;  // corruption: not drawn, but these, from the frame's first edge on
  Nanos by = 0;                            // delay: how long; repetition, insertion: pause before the copy
  std::uint64_t value = 0;                 // address: the address put in; masquerade: xor on the payload's first byte
  friend bool operator==(const FaultSpec&, const FaultSpec&) = default;
};

enum class OnLate : std::uint8_t {
  ignore,          // what comes after the time-out is dropped unread (flushed)
  match_exchange,  // taken if it names the exchange that is open, else counted as mismatched
  accept,          // taken for the open exchange if source and topic fit: what a controller without a ticket does
};

struct BackOffSpec {
  Nanos first = 0;          // pause before the first retry
  std::uint32_t times = 1;  // multiplied for each further retry
  Nanos longest = never;
  Nanos jitter = 0;  // uniform in 0..jitter, added
  friend bool operator==(const BackOffSpec&, const BackOffSpec&) = default;
};

/// One ask of the plan, for one node (or for everyone).
struct PlanEntry {
  std::string name;             // unique; names its luck
  std::uint16_t node = 0xffff;  // index; 0xffff everyone
  std::string topic;
  std::vector<std::pair<std::string, std::uint64_t>> arguments;  // raw values of ask fields
  std::uint64_t every = 1;                                       // asked in every n-th round
  friend bool operator==(const PlanEntry&, const PlanEntry&) = default;
};

struct EnrolSpec {
  bool at_start = false;
  std::uint32_t again_after =
      0;  // unanswered exchanges in a row after which a node's address is offered again; 0 never
  std::string topic = "enrol";
  std::string address_field = "address";
  friend bool operator==(const EnrolSpec&, const EnrolSpec&) = default;
};

/// How the controller balances: from time to time it looks at what it last read of each cell, and tells the nodes which
/// cells to bleed. A cell is bled if it is at least at start_uv and at least difference_uv above the lowest.
struct BalancingSpec {
  Nanos every = 0;              // from look to look; 0: it does not balance
  std::string topic = "bleed";  // of the command
  std::string field = "cells";  // of the command's field that carries a bit for each cell
  std::int64_t start_uv = 3'400'000;
  std::int64_t difference_uv = 10'000;
  std::int64_t hysteresis_uv = 5'000;  // a cell that is bled goes on until it is that much nearer
  std::uint32_t at_once = 0;           // cells, in all; the highest first; 0: no limit
  Nanos on_for = 0;                    // bled for this long, then not for off_for; 0: without a break
  Nanos off_for = 0;
  Nanos repeat_after = 0;             // a node is told again although nothing changed; 0: never
  Nanos forget_after = 600 * second;  // what was read longer ago does not count
  friend bool operator==(const BalancingSpec&, const BalancingSpec&) = default;
};

/// The clock by which the controller times its waiting, if it goes round and the controller does not know.
struct WrapSpec {
  std::uint32_t bits = 0;  // 0: it never does
  Nanos tick = millisecond;
  std::uint64_t starts_at = 0;  // ticks at first
  friend bool operator==(const WrapSpec&, const WrapSpec&) = default;
};

/// What a controller has room for; 0: no limit.
struct HoldsSpec {
  std::uint32_t nodes = 0;
  std::uint32_t cells = 0;         // in all
  std::uint32_t answer_bytes = 0;  // content
  friend bool operator==(const HoldsSpec&, const HoldsSpec&) = default;
};

struct ControllerSpec {
  std::string name = "controller";
  Nanos time_out = 500 * millisecond;  // from the last edge of the ask
  std::uint32_t retries = 0;
  BackOffSpec back_off;
  bool retry_garbled_at_once = false;  // do not wait for the time-out after a garbled answer
  OnLate on_late = OnLate::match_exchange;
  Nanos pace = 0;                    // from start to start of exchanges, at least
  Nanos gap = 0;                     // from the end of one exchange to the start of the next, at least
  Nanos fresh_within = 0;            // values older than this are stale; 0: no limit
  std::int64_t exact_within_uv = 0;  // values that are further off than this are wrong; 0: no limit
  Nanos late_window = 0;    // how long after its decision an exchange may still be told of a late answer; 0: until
                            // nothing of it is on its way any more
  std::uint8_t passes = 0;  // passes left given to each ask; 0: as many as the chain needs
  ClockSpec clock;
  ReceiverSpec receiver;
  std::vector<PlanEntry> plan;
  EnrolSpec enrol;
  ProcessorSpec processor;
  bool timer_first = false;  // after something else it looks at its timer before its receiver
  WrapSpec wrap;
  BalancingSpec balancing;
  HoldsSpec holds;  // nothing of a run hangs on it: whoever reckons a chain looks at it
  friend bool operator==(const ControllerSpec&, const ControllerSpec&) = default;
};

enum class Shape : std::uint8_t { ring, line };

/// What a run begins with, if not with everything new: as it stands when something has gone on for a while already. Its
/// clock begins then: instants are those of the whole run.
struct StartSpec {
  struct Standing {
    std::uint16_t node = 0;
    std::vector<std::int64_t> charge_ppm;  // by cell; empty: drawn as without
    std::optional<std::int32_t> board_mc;
    friend bool operator==(const Standing&, const Standing&) = default;
  };
  Nanos at = 0;             // how long everything has gone on; a multiple of Pack::step
  std::uint64_t round = 0;  // of the controller's plan; of a controller at a port: pieces that it sent
  bool charged = false;     // the charge of the period that it falls into is over
  std::vector<Standing> nodes;
  friend bool operator==(const StartSpec&, const StartSpec&) = default;
};

struct ChainDescription {
  std::string name;
  Shape shape = Shape::ring;
  std::vector<KindSpec> kinds;
  std::vector<NodeSpec> nodes;  // in chain order
  std::vector<LinkSpec> links;  // one per link, see seen/observation.h
  std::vector<FaultSpec> faults;
  ControllerSpec controller;
  PackSpec pack;
  StartSpec start;
  Nanos run_for = 0;  // how long a run is unless told otherwise; 0: not stated
  std::uint64_t seed = 1;
  friend bool operator==(const ChainDescription&, const ChainDescription&) = default;
};

/// Of a plan entry that is asked in every n-th round: its first turn in a plan that begins with this round.
constexpr std::uint64_t first_turn(std::uint64_t round, std::uint64_t every) {
  return every <= 1 ? round : (round + every - 1) / every;
}

}  // namespace hopbench
