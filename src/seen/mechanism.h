// What makes replies go missing, as things that a scenario can be made to do without. A mechanism is named by the cause
// of what it kills; several causes may come from one mechanism.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

#include "seen/symptom.h"

namespace hopbench {

enum class Mechanism : std::uint8_t {
  bit_noise,    // bits damaged one by one
  bursts,       // noise that comes in bursts
  contact,      // contacts that open now and then
  cable,        // cables that are open for a time
  clock,        // clocks too far apart: divisor, trim, temperature, supply
  busy_node,    // a node's processor with other things to do; characters not fetched in time
  measurement,  // measuring holds answers back, or values are old or taken while bleeding
  charger,      // ripple of the charger
  pulse_width,  // isolators that turn on and off at different speeds
  bleed_edges,  // chopped bleed switches coupled into the line
  supply,       // brown-out of a node
  watchdog,     // a node's watchdog
  room,         // buffers and FIFOs of forwarding nodes
  wake_up,      // sleeping nodes
  controller,   // the controller's other duties, and its clock's wrap
  balancing,    // no mechanism by itself, but what several of them hang on: cells being bled
  injected,     // faults put in on purpose
};
inline constexpr std::size_t mechanism_count = 17;

/// All of them, in order.
std::span<const Mechanism> mechanisms();
std::string_view name_of(Mechanism mechanism);
std::optional<Mechanism> mechanism_named(std::string_view name);
/// In a few words, for a list.
std::string_view meaning_of(Mechanism mechanism);
/// The mechanism behind a cause; nothing for causes that come from the plan, the time-out or the bus alone (an answer
/// that no time-out was long enough for, an unknown topic, an address that nobody has), and for damage that was
/// inherited.
std::optional<Mechanism> mechanism_of(Cause cause);

}  // namespace hopbench
