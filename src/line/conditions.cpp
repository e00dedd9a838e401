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

std::uint64_t Conditions::row_clear_until(const FrameKey& key, std::uint32_t row, std::uint32_t bits) {
  const std::uint64_t name = name_hash(row_number(key, row), key.entry_hash);
  const auto [place, fresh] = quiet_.try_emplace(name);
  NextHit& next = place->second;
  if (fresh) next.row = row_of(key, row);
  if (!fresh && key.turn >= next.from && key.turn < next.clear_until && bits <= next.bits) return next.clear_until;
  next.from = key.turn;
  next.bits = bits;
  const std::uint64_t last = key.turn + look_ahead;
  next.clear_until = last + 1;
  NoisePoint point{key.turn, 0, 0};
  while (first_point(next.row, point.turn, point.bit, base_rate_, last, point)) {
    if (point.bit < bits) {
      next.clear_until = point.turn;
      break;
    }
    point = {point.turn + 1, 0, 0};  // behind the frame's end
    if (point.turn > last) break;
  }
  return next.clear_until;
}

std::uint64_t Conditions::clear_until(const FrameKey& key, std::uint32_t slots) {
  std::uint64_t turn = ~std::uint64_t{0};
  if (base_rate_ == 0) return turn;
  for (std::uint32_t row = 0; row * field_row_bits < slots; ++row) {
    turn = std::min(turn, row_clear_until(key, row, std::min(field_row_bits, slots - row * field_row_bits)));
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
  // A source a pass: the points under the quiet rate strike wherever they lie, those under the bad rate only in a
  // burst.
  const auto pass = [&](Rate cap, bool only_in_burst) {
    for (std::uint32_t row = span.first / field_row_bits; cap > 0 && row * field_row_bits < span.end; ++row) {
      const StreamKey stream = row_of(key, row);
      NoisePoint point;
      for (std::uint32_t bit = 0; bit < field_row_bits && first_point(stream, key.turn, bit, cap, key.turn, point);
           bit = point.bit + 1) {
        const std::uint32_t slot = row * field_row_bits + point.bit;
        if (slot >= span.end) break;
        if (slot < span.first) continue;
        const std::uint32_t here = slot - span.first;
        const Nanos at = timing.place(here / span.per_char, 2 * (here % span.per_char));
        if (only_in_burst && bursts_.bad_after(at).from > at) continue;
        (only_in_burst ? strikes.burst : strikes.noise) = true;
        strikes.first_slot = std::min(strikes.first_slot, slot);
        inverted.push_back(here);
      }
    }
  };
  pass(base_rate_, false);
  if (bursts_.ever_bad() && bursts_.bad_after(timing.start()).from < timing.end()) pass(bad_rate_, true);
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
