#include "seen/symptom.h"

#include <array>
#include <utility>

#include "seen/unknown_name.h"

namespace hopbench {
namespace {

constexpr std::array<std::pair<Symptom, std::string_view>, symptom_count> symptoms{{
    {Symptom::none, "none"},
    {Symptom::framing, "framing"},
    {Symptom::parity, "parity"},
    {Symptom::check, "check"},
    {Symptom::too_short, "too_short"},
    {Symptom::too_long, "too_long"},
    {Symptom::overrun, "overrun"},
    {Symptom::no_room, "no_room"},
    {Symptom::nothing, "nothing"},
}};

constexpr std::array<std::pair<Outcome, std::string_view>, outcome_count> outcomes{{
    {Outcome::answered, "answered"},
    {Outcome::late, "late"},
    {Outcome::garbled, "garbled"},
    {Outcome::mismatched, "mismatched"},
    {Outcome::refused, "refused"},
    {Outcome::stale, "stale"},
    {Outcome::wrong, "wrong"},
    {Outcome::lost, "lost"},
    {Outcome::truncated, "truncated"},
    {Outcome::bad_ask, "bad_ask"},
}};

constexpr std::array<std::pair<Cause, std::string_view>, 45> causes{{
    {Cause::none, "none"},
    {Cause::inherited, "inherited"},
    {Cause::bit_noise, "bit_noise"},
    {Cause::burst, "burst"},
    {Cause::clock, "clock"},
    {Cause::contact, "contact"},
    {Cause::cable_open, "cable_open"},
    {Cause::fifo_overrun, "fifo_overrun"},
    {Cause::short_buffer, "short_buffer"},
    {Cause::node_off, "node_off"},
    {Cause::no_address, "no_address"},
    {Cause::unknown_topic, "unknown_topic"},
    {Cause::passes_used_up, "passes_used_up"},
    {Cause::measuring, "measuring"},
    {Cause::chain_time, "chain_time"},
    {Cause::merged, "merged"},
    {Cause::unclaimed, "unclaimed"},
    {Cause::refused_by_node, "refused_by_node"},
    {Cause::old_snapshot, "old_snapshot"},
    {Cause::earlier_answer, "earlier_answer"},
    {Cause::busy_node, "busy_node"},
    {Cause::not_fetched, "not_fetched"},
    {Cause::controller_busy, "controller_busy"},
    {Cause::charger, "charger"},
    {Cause::pulse_width, "pulse_width"},
    {Cause::bleed_edge, "bleed_edge"},
    {Cause::brown_out, "brown_out"},
    {Cause::watchdog, "watchdog"},
    {Cause::asleep, "asleep"},
    {Cause::clock_wrap, "clock_wrap"},
    {Cause::bleeding, "bleeding"},
    {Cause::injected_corruption, "injected_corruption"},
    {Cause::injected_repetition, "injected_repetition"},
    {Cause::injected_sequence, "injected_sequence"},
    {Cause::injected_loss, "injected_loss"},
    {Cause::injected_delay, "injected_delay"},
    {Cause::injected_insertion, "injected_insertion"},
    {Cause::injected_masquerade, "injected_masquerade"},
    {Cause::injected_address, "injected_address"},
    {Cause::injected_memory, "injected_memory"},
    {Cause::injected_reset, "injected_reset"},
    {Cause::line_held, "line_held"},
    {Cause::truncated, "truncated"},
    {Cause::bad_ask, "bad_ask"},
    {Cause::design_flaw, "design_flaw"},
}};

template <class E, std::size_t N>
std::string_view text_of(const std::array<std::pair<E, std::string_view>, N>& table, E wanted) {
  for (const auto& [value, text] : table) {
    if (value == wanted) return text;
  }
  return unknown_name(static_cast<std::uint8_t>(wanted));
}

template <class E, std::size_t N>
std::optional<E> value_of(const std::array<std::pair<E, std::string_view>, N>& table, std::string_view name) {
  for (const auto& [value, text] : table) {
    if (text == name) return value;
  }
  return std::nullopt;
}

}  // namespace

std::string_view name_of(Symptom symptom) { return text_of(symptoms, symptom); }
std::string_view name_of(Outcome outcome) { return text_of(outcomes, outcome); }
std::string_view name_of(Cause cause) { return text_of(causes, cause); }
std::optional<Symptom> symptom_named(std::string_view name) { return value_of(symptoms, name); }
std::optional<Outcome> outcome_named(std::string_view name) { return value_of(outcomes, name); }
std::optional<Cause> cause_named(std::string_view name) { return value_of(causes, name); }

}  // namespace hopbench
