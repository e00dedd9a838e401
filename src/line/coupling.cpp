#include "line/coupling.h"

#include <algorithm>

namespace hopbench {
namespace {

Rate scaled(Rate unit, std::uint32_t times) {
  return static_cast<Rate>(std::min<unsigned __int128>(static_cast<unsigned __int128>(unit) * times, max_rate));
}

}  // namespace

Coupling::Coupling(const Luck& luck, std::uint64_t link_hash, Purpose purpose, Ppq bit_error, std::uint32_t most,
                   const Wander& wander)
    : unit_(rate_of_probability(bit_error)),
      most_(most),
      wander_(wander),
      rows_(luck, link_hash, purpose, scaled(unit_, most)) {}

std::uint32_t Coupling::pulses_at(Nanos at) const {
  std::uint32_t count = 0;
  at += wander_.ahead(at);
  for (const PulseTrain& train : trains_) {
    const Nanos since = ((at - train.phase) % train.period + train.period) % train.period;
    if (since < train.window) ++count;
  }
  return std::min(count, most_);
}

std::uint64_t Coupling::clear_until(const FrameKey& key, std::uint32_t slots) {
  return silent() ? ~std::uint64_t{0} : rows_.clear_until(key, slots);
}

bool Coupling::noise(const FrameKey& key, const Timing& timing, std::uint32_t slots, std::uint32_t first_slot,
                     std::vector<std::uint32_t>& inverted) {
  if (silent() || timing.chars() == 0) return false;
  const std::uint32_t per_char = slots / timing.chars();
  const std::size_t before = inverted.size();
  rows_.each(key, first_slot, first_slot + slots, [&](std::uint32_t slot, Rate mark) {
    const std::uint32_t here = slot - first_slot;
    const Nanos at = timing.place(here / per_char, 2 * (here % per_char));
    if (mark < scaled(unit_, pulses_at(at))) inverted.push_back(here);
  });
  return inverted.size() != before;
}

bool Coupling::strikes(const FrameKey& key, const Timing& timing, std::uint32_t slots) {
  struck_.clear();
  return noise(key, timing, slots, 0, struck_);
}

}  // namespace hopbench
