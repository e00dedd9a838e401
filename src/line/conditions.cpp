#include "line/conditions.h"

#include <algorithm>

namespace hopbench {
namespace {

// How far ahead the first hit of a row is looked for at once. A look costs by the number of points met, not by turns.
constexpr std::uint64_t look_ahead = 1U << 16U;

std::uint64_t row_number(const FrameKey& key, std::uint32_t row) {
  return (static_cast<std::uint64_t>(row) << 24U) | (static_cast<std::uint64_t>(key.copy) << 16U) |
         (static_cast<std::uint64_t>(key.attempt) << 8U) | (key.answering ? 1U : 0U);
}

}  // namespace

Conditions::Conditions(const LinkSpec& spec, const Luck& luck, const std::string& name)
    : spec_(spec),
      luck_(luck),
      hash_(name_hash(name)),
      base_rate_(rate_of_probability(spec.bit_error)),
      bad_rate_(rate_of_probability(spec.burst.bad_bit_error)),
      bursts_(luck.stream(hash_, Purpose::burst_sojourn, 0), spec.burst.mean_good, spec.burst.mean_bad),
      contact_(luck.stream(hash_, Purpose::contact_sojourn, 0), spec.contact.mean_between, spec.contact.mean_open) {}

StreamKey Conditions::row_of(const FrameKey& key, std::uint32_t row) const {
  return luck_.stream(name_hash(key.entry_hash, hash_), Purpose::bit_noise, row_number(key, row));
}

/// The first point that strikes at `bit` of key's turn or later.
const Conditions::Known& Conditions::next_strike(const FrameKey& key, std::uint32_t row, std::uint32_t bit,
                                                 std::uint32_t bits) {
  const auto [place, fresh] = known_.try_emplace(name_hash(row_number(key, row), key.entry_hash));
  Known& known = place->second;
  if (fresh) known.row = row_of(key, row);
  const auto from = std::pair(known.from_turn, known.from_bit);
  const auto next = std::pair(known.next.turn, known.next.bit);
  const auto wanted = std::pair(key.turn, bit);
  if (bits <= known.bits && from <= wanted && (known.strikes ? wanted <= next : wanted < next)) return known;
  known.from_turn = key.turn;
  known.from_bit = bit;
  known.bits = bits;
  const std::uint64_t last = key.turn + look_ahead;
  NoisePoint point{key.turn, bit, 0};
  if (bit >= field_row_bits) point = {key.turn + 1, 0, 0};
  known.strikes = true;
  while (known.strikes && first_point(known.row, point.turn, point.bit, base_rate_, last, point)) {
    if (point.bit < bits) {
      known.next = point;
      return known;
    }
    point = {point.turn + 1, 0, 0};  // behind the frame's end
    known.strikes = point.turn <= last;
  }
  known.strikes = false;
  known.next = {last + 1, 0, 0};
  return known;
}

std::uint64_t Conditions::clear_until(const FrameKey& key, std::uint32_t slots) {
  std::uint64_t turn = ~std::uint64_t{0};
  if (base_rate_ == 0) return turn;
  for (std::uint32_t row = 0; row * field_row_bits < slots; ++row) {
    const std::uint32_t bits = std::min(field_row_bits, slots - row * field_row_bits);
    turn = std::min(turn, next_strike(key, row, 0, bits).next.turn);
  }
  return turn;
}

Nanos Conditions::calm_until(Nanos now) {
  Nanos until = never;
  if (bursts_.ever_bad() && bad_rate_ > 0) until = std::min(until, bursts_.bad_after(now).from);
  if (contact_.ever_bad()) until = std::min(until, contact_.bad_after(now).from);
  for (const OpenSpec& open : spec_.opens) {
    if (open.to > now) until = std::min(until, open.from);
  }
  return std::max(until, now);
}

bool Conditions::cut_in(Nanos from, Nanos to) {
  if (contact_.ever_bad() && contact_.bad_after(from).from < to) return true;
  return std::any_of(spec_.opens.begin(), spec_.opens.end(),
                     [&](const OpenSpec& open) { return open.from < to && open.to > from; });
}

bool Conditions::surely_clean(const FrameKey& key, const Timing& timing, std::uint32_t slots) {
  const Nanos from = timing.start();
  const Nanos to = timing.end();
  if (bursts_.ever_bad() && bad_rate_ > 0 && bursts_.bad_after(from).from < to) return false;
  if (cut_in(from, to)) return false;
  return key.turn < clear_until(key, slots);
}

void Conditions::noise(const FrameKey& key, const Timing& timing, std::uint32_t slots, std::uint32_t first_slot,
                       std::vector<std::uint32_t>& inverted, Strikes& strikes) {
  inverted.clear();
  if (timing.chars() == 0) return;
  struct Span {
    std::uint32_t first;
    std::uint32_t end;
    std::uint32_t per_char;
  } const span{first_slot, first_slot + slots, slots / timing.chars()};
  const auto strike = [&](std::uint32_t slot, bool only_in_burst) {
    const std::uint32_t here = slot - span.first;
    if (only_in_burst) {
      const Nanos at = timing.place(here / span.per_char, 2 * (here % span.per_char));
      if (bursts_.bad_after(at).from > at) return;
    }
    (only_in_burst ? strikes.burst : strikes.noise) = true;
    strikes.first_slot = std::min(strikes.first_slot, slot);
    inverted.push_back(here);
  };
  // The points under the quiet rate strike wherever they lie, those under the bad rate only in a burst.
  for (std::uint32_t row = span.first / field_row_bits; base_rate_ > 0 && row * field_row_bits < span.end; ++row) {
    const std::uint32_t begin = row * field_row_bits;
    const std::uint32_t bits = std::min(field_row_bits, span.end - begin);
    std::uint32_t bit = begin < span.first ? span.first - begin : 0;
    for (;;) {
      const Known& known = next_strike(key, row, bit, bits);
      if (!known.strikes || known.next.turn != key.turn || known.next.bit >= bits) break;
      strike(begin + known.next.bit, false);
      bit = known.next.bit + 1;
    }
  }
  if (bursts_.ever_bad() && bursts_.bad_after(timing.start()).from < timing.end()) {
    for (std::uint32_t row = span.first / field_row_bits; bad_rate_ > 0 && row * field_row_bits < span.end; ++row) {
      const StreamKey stream = row_of(key, row);
      NoisePoint point;
      for (std::uint32_t bit = 0;
           bit < field_row_bits && first_point(stream, key.turn, bit, bad_rate_, key.turn, point);
           bit = point.bit + 1) {
        const std::uint32_t slot = row * field_row_bits + point.bit;
        if (slot >= span.end) break;
        if (slot >= span.first) strike(slot, true);
      }
    }
  }
  std::sort(inverted.begin(), inverted.end());
  inverted.erase(std::unique(inverted.begin(), inverted.end()), inverted.end());
}

void Conditions::cuts(const Timing& timing, Levels& levels, Strikes& strikes) {
  const Nanos from = timing.start();
  const Nanos to = timing.end();
  if (contact_.ever_bad()) {
    for (Nanos at = from; at < to;) {
      const Interval bad = contact_.bad_after(at);
      if (bad.from >= to) break;
      levels.force(std::max(from, bad.from), std::min(to, bad.to), !spec_.contact.reads_low);
      strikes.contact = true;
      at = bad.to;
    }
  }
  for (const OpenSpec& open : spec_.opens) {
    if (open.from >= to || open.to <= from) continue;
    levels.force(std::max(from, open.from), std::min(to, open.to), !open.reads_low);
    strikes.open = true;
  }
}

}  // namespace hopbench
