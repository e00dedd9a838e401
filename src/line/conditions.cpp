#include "line/conditions.h"

#include <algorithm>

namespace hopbench {
namespace {

// Bleeds of two boards of 16 cells, opening and closing.
constexpr std::uint32_t most_edges = 64;

bool couples(const RippleSpec& ripple) { return ripple.window > 0 && ripple.bit_error > 0; }

}  // namespace

Conditions::Conditions(const LinkSpec& spec, const Luck& luck, const std::string& name, Nanos start)
    : spec_(spec),
      hash_(name_hash(name)),
      bad_rate_(rate_of_probability(spec.burst.bad_bit_error)),
      base_(luck, hash_, Purpose::bit_noise, rate_of_probability(spec.bit_error)),
      bursts_(luck.stream(hash_, Purpose::burst_sojourn, 0), spec.burst.mean_good, spec.burst.mean_bad, start),
      contact_(luck.stream(hash_, Purpose::contact_sojourn, 0), spec.contact.mean_between, spec.contact.mean_open,
               start) {
  const auto add = [&](const RippleSpec& ripple, Purpose purpose, Purpose wanders) {
    if (!couples(ripple)) return;
    // There is one charger on one mains, whatever link it couples into.
    const StreamKey stream = luck.stream(name_hash("charger"), wanders, 0);
    charger_.emplace_back(luck, hash_, purpose, ripple.bit_error, 1,
                          Wander(stream, ripple.wander_ppb, ripple.wander_every));
  };
  add(spec.line_ripple, Purpose::charger_noise, Purpose::mains_wander);
  add(spec.switching_ripple, Purpose::switching_noise, Purpose::switching_wander);
  if (spec.bleed_edge.window > 0 && spec.bleed_edge.bit_error > 0) {
    bleeds_.emplace_back(luck, hash_, Purpose::bleed_noise, spec.bleed_edge.bit_error, most_edges, Wander());
  }
}

void Conditions::set_surroundings(bool charging, const std::vector<PulseTrain>& bleed_edges) {
  std::size_t which = 0;
  for (const RippleSpec* ripple : {&spec_.line_ripple, &spec_.switching_ripple}) {
    if (!couples(*ripple)) continue;
    std::vector<PulseTrain> trains;
    if (charging) trains.push_back({ripple->period, 0, ripple->window});
    charger_[which++].set(trains);
  }
  if (bleeds_.empty()) return;
  std::vector<PulseTrain> trains = bleed_edges;
  for (PulseTrain& train : trains) train.window = spec_.bleed_edge.window;
  bleeds_.front().set(trains);
}

std::uint64_t Conditions::clear_until(const FrameKey& key, std::uint32_t slots) {
  std::uint64_t turn = base_.clear_until(key, slots);
  for (Coupling& each : charger_) turn = std::min(turn, each.clear_until(key, slots));
  for (Coupling& each : bleeds_) turn = std::min(turn, each.clear_until(key, slots));
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
  const auto spared_by = [&](Coupling& each) { return !each.strikes(key, timing, slots); };
  return key.turn < base_.clear_until(key, slots) && std::all_of(charger_.begin(), charger_.end(), spared_by) &&
         std::all_of(bleeds_.begin(), bleeds_.end(), spared_by);
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
  base_.each(key, span.first, span.end, [&](std::uint32_t slot, Rate) { strike(slot, false); });
  if (bursts_.ever_bad() && bursts_.bad_after(timing.start()).from < timing.end()) {
    for (std::uint32_t row = span.first / field_row_bits; bad_rate_ > 0 && row * field_row_bits < span.end; ++row) {
      const StreamKey stream = base_.stream_of(key, row);
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
  const auto couple = [&](std::vector<Coupling>& couplings, bool& struck) {
    for (Coupling& each : couplings) {
      const std::size_t before = inverted.size();
      if (!each.noise(key, timing, slots, first_slot, inverted)) continue;
      struck = true;
      for (std::size_t i = before; i < inverted.size(); ++i)
        strikes.first_slot = std::min(strikes.first_slot, inverted[i] + first_slot);
    }
  };
  couple(charger_, strikes.charger);
  couple(bleeds_, strikes.bleed_edge);
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
