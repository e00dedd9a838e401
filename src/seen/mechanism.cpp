#include "seen/mechanism.h"

#include <algorithm>
#include <array>

namespace hopbench {
namespace {

struct Entry {
  Mechanism mechanism;
  std::string_view name;
  std::string_view meaning;
};

constexpr std::array<Entry, mechanism_count> entries{{
    {Mechanism::bit_noise, "bit_noise", "bits damaged one by one"},
    {Mechanism::bursts, "bursts", "noise that comes in bursts"},
    {Mechanism::contact, "contact", "contacts that open now and then"},
    {Mechanism::cable, "cable", "cables that are open for a time"},
    {Mechanism::clock, "clock", "clocks too far apart"},
    {Mechanism::busy_node, "busy_node", "a node's processor with other things to do"},
    {Mechanism::measurement, "measurement",
     "measuring that holds answers back, old values, values taken while bleeding"},
    {Mechanism::charger, "charger", "ripple of the charger"},
    {Mechanism::pulse_width, "pulse_width", "isolators that turn on and off at different speeds"},
    {Mechanism::bleed_edges, "bleed_edges", "chopped bleed switches coupled into the line"},
    {Mechanism::supply, "supply", "a node's supply breaking down"},
    {Mechanism::watchdog, "watchdog", "a node's watchdog"},
    {Mechanism::room, "room", "frames longer than a node's buffer, characters faster than its FIFO"},
    {Mechanism::wake_up, "wake_up", "sleeping nodes that lose what wakes them"},
    {Mechanism::controller, "controller", "the controller's other duties, and its clock's wrap"},
    {Mechanism::balancing, "balancing", "cells being bled"},
    {Mechanism::injected, "injected", "faults put in on purpose"},
}};

constexpr auto values = [] {
  std::array<Mechanism, mechanism_count> all{};
  for (std::size_t i = 0; i < mechanism_count; ++i) all[i] = entries[i].mechanism;
  return all;
}();

}  // namespace

std::span<const Mechanism> mechanisms() { return values; }

std::string_view name_of(Mechanism mechanism) { return entries[static_cast<std::size_t>(mechanism)].name; }

std::string_view meaning_of(Mechanism mechanism) { return entries[static_cast<std::size_t>(mechanism)].meaning; }

std::optional<Mechanism> mechanism_named(std::string_view name) {
  const auto found = std::find_if(entries.begin(), entries.end(), [&](const Entry& each) { return each.name == name; });
  if (found == entries.end()) return std::nullopt;
  return found->mechanism;
}

std::optional<Mechanism> mechanism_of(Cause cause) {
  switch (cause) {
    case Cause::bit_noise:
      return Mechanism::bit_noise;
    case Cause::burst:
      return Mechanism::bursts;
    case Cause::clock:
      return Mechanism::clock;
    case Cause::contact:
      return Mechanism::contact;
    case Cause::cable_open:
      return Mechanism::cable;
    case Cause::fifo_overrun:
    case Cause::short_buffer:
      return Mechanism::room;
    case Cause::busy_node:
    case Cause::not_fetched:
      return Mechanism::busy_node;
    case Cause::measuring:
    case Cause::old_snapshot:
    case Cause::bleeding:
      return Mechanism::measurement;
    case Cause::controller_busy:
    case Cause::clock_wrap:
      return Mechanism::controller;
    case Cause::charger:
      return Mechanism::charger;
    case Cause::pulse_width:
      return Mechanism::pulse_width;
    case Cause::bleed_edge:
      return Mechanism::bleed_edges;
    case Cause::brown_out:
    case Cause::line_held:
      return Mechanism::supply;
    case Cause::watchdog:
      return Mechanism::watchdog;
    case Cause::asleep:
      return Mechanism::wake_up;
    case Cause::node_off:
    case Cause::injected_corruption:
    case Cause::injected_repetition:
    case Cause::injected_sequence:
    case Cause::injected_loss:
    case Cause::injected_delay:
    case Cause::injected_insertion:
    case Cause::injected_masquerade:
    case Cause::injected_address:
    case Cause::injected_memory:
    case Cause::injected_reset:
      return Mechanism::injected;
    case Cause::none:
    case Cause::inherited:
    case Cause::no_address:
    case Cause::unknown_topic:
    case Cause::passes_used_up:
    case Cause::chain_time:
    case Cause::merged:
    case Cause::unclaimed:
    case Cause::refused_by_node:
    case Cause::earlier_answer:
    case Cause::truncated:
    case Cause::bad_ask:
    case Cause::design_flaw:
      return std::nullopt;
  }
  return std::nullopt;
}

}  // namespace hopbench
