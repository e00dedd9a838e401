// What can be seen (symptom, outcome) and why it was so (cause), as different types on purpose: code that
// claims to work from observations is given types through which it cannot reach a cause.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

namespace hopbench {

/// What an ear at the far end of a hop found of a frame. Values are stored in captures: add, never renumber.
enum class Symptom : std::uint8_t {
  none = 0,     // heard well
  framing = 1,  // a stop bit was low
  parity = 2,
  check = 3,      // a check value did not agree
  too_short = 4,  // it ended early, or nothing whole came of it
  too_long = 5,
  overrun = 6,  // characters were lost for want of time to fetch them
  no_room = 7,  // longer than the station's buffer
  nothing = 8,  // not one character was heard
};
inline constexpr std::size_t symptom_count = 9;

/// What became of an exchange, over all its tries. Values are stored in captures.
enum class Outcome : std::uint8_t {
  answered = 0,
  late = 1,        // a good answer came, after the time-out
  garbled = 2,     // an answer came, its check failed
  mismatched = 3,  // a good answer to another request
  refused = 4,     // a node reported an error
  stale = 5,       // accepted, but the values were older than the plan allows (truth known)
  wrong = 6,       // accepted, but the values were not those that the node sent or meant (truth known)
  lost = 7,        // nothing came
  truncated = 8,   // an answer came without all the values that were asked for
  bad_ask = 9,     // what the controller sent was no good ask: a wrong check or marker, half a frame, garbage
};
inline constexpr std::size_t outcome_count = 10;

/// Why. Only a simulation knows. Values are stored in captures.
enum class Cause : std::uint8_t {
  none = 0,
  inherited = 1,  // it was damaged on an earlier hop
  bit_noise = 2,
  burst = 3,    // bad state of a bursty hop
  clock = 4,    // sender and receiver clocks too far apart
  contact = 5,  // intermittent contact
  cable_open = 6,
  fifo_overrun = 7,  // a faster sender outran a forwarding node's FIFO
  short_buffer = 8,  // frame longer than the node's buffer
  node_off = 9,      // node in reset or starting up
  no_address = 10,   // node without an address, or nobody has that address
  unknown_topic = 11,
  passes_used_up = 13,
  measuring = 14,   // the measurement held the answer back
  chain_time = 15,  // the way there and back takes longer than the time-out
  merged = 16,      // ran into another frame
  unclaimed = 17,   // stopped by the last node: nobody claimed it
  refused_by_node = 18,
  old_snapshot = 19,     // the node answered from an older snapshot
  earlier_answer = 20,   // an earlier exchange's answer was taken for this one's
  busy_node = 21,        // the node's processor had something else to do
  not_fetched = 22,      // nobody fetched the characters from the node's receiver in time
  controller_busy = 23,  // the controller's other duties kept it from its receiver or its timer
  charger = 24,          // ripple of the charger
  pulse_width = 25,      // isolators that turn on and off at different speeds
  bleed_edge = 26,       // chopped bleed switches coupled into the line
  brown_out = 27,        // the node's supply broke down
  watchdog = 28,         // the node was restarted by its watchdog
  asleep = 29,           // the node slept, and lost what woke it
  clock_wrap = 30,       // the controller's millisecond clock went round
  bleeding = 31,         // measured while the cell was bled
  // injected faults: the error classes of IEC 61784-3
  injected_corruption = 32,
  injected_repetition = 33,
  injected_sequence = 34,
  injected_loss = 35,
  injected_delay = 36,
  injected_insertion = 37,
  injected_masquerade = 38,
  injected_address = 39,
  injected_memory = 40,  // a node damages the frame in its own memory
  injected_reset = 41,
  line_held = 48,    // a neighbour without power held the line
  truncated = 49,    // more values were asked for than an answer holds
  bad_ask = 50,      // the controller's own doing: it sent no good ask
  design_flaw = 51,  // a mistake in the design of a node (a kind's `flaw`)
};

/// Places in arrays that count by value: one for each that this code knows, and a last one for all that it does not. A
/// capture of a later version may hold them.
constexpr std::size_t place_of(Symptom symptom) {
  return static_cast<std::size_t>(symptom) < symptom_count ? static_cast<std::size_t>(symptom) : symptom_count;
}
constexpr std::size_t place_of(Outcome outcome) {
  return static_cast<std::size_t>(outcome) < outcome_count ? static_cast<std::size_t>(outcome) : outcome_count;
}

/// "unknown (57)" of a value that this code does not know.
std::string_view name_of(Symptom symptom);
std::string_view name_of(Outcome outcome);
std::string_view name_of(Cause cause);
std::optional<Symptom> symptom_named(std::string_view name);
std::optional<Outcome> outcome_named(std::string_view name);
std::optional<Cause> cause_named(std::string_view name);

}  // namespace hopbench
