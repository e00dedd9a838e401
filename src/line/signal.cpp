#include "line/signal.h"

#include <algorithm>
#include <bit>

namespace hopbench {

void Timing::set_starts(std::span<const Nanos> starts) {
  starts_.assign(starts.begin(), starts.end());
  chars_ = static_cast<std::uint32_t>(starts.size());
  if (!starts_.empty()) start_ = starts_.front();
}

void Timing::move_to(Nanos start) {
  for (Nanos& each : starts_) each += start - start_;
  start_ = start;
}

Nanos Timing::end_of_char_at(Nanos at) const {
  if (chars_ == 0 || at < start_) return at;
  // The last character that begins at or before `at`.
  std::uint32_t low = 0;
  std::uint32_t high = chars_;
  while (high - low > 1) {
    const std::uint32_t middle = low + (high - low) / 2;
    (char_start(middle) <= at ? low : high) = middle;
  }
  return std::max(at, char_end(low));
}

void to_levels(std::span<const std::uint8_t> bytes, const LineCoding& line, const Timing& timing, Levels& levels) {
  levels.clear();
  const std::uint32_t slots = slots_per_char(line);
  bool level = true;
  for (std::uint32_t i = 0; i < bytes.size(); ++i) {
    const auto data = static_cast<std::uint8_t>(bytes[i] & ((1U << line.data_bits) - 1U));
    const bool odd_ones = std::popcount(data) % 2 != 0;
    for (std::uint32_t slot = 0; slot < slots; ++slot) {
      bool wanted = true;  // stop bits
      if (slot == 0) {
        wanted = false;
      } else if (slot <= line.data_bits) {
        wanted = ((data >> (slot - 1)) & 1U) != 0;
      } else if (slot == line.data_bits + 1 && line.parity != Parity::none) {
        wanted = (line.parity == Parity::even) == odd_ones;
      }
      if (wanted != level) {
        levels.toggle(timing.place(i, 2 * slot));
        level = wanted;
      }
    }
  }
}

void invert_slot(const LineCoding& line, const Timing& timing, std::uint32_t slot, Levels& levels) {
  const std::uint32_t per_char = slots_per_char(line);
  const std::uint32_t i = slot / per_char;
  const std::uint32_t half = 2 * (slot % per_char);
  levels.invert(timing.place(i, half), timing.place(i, std::min(half + 2, line.char_half_bits())));
}

}  // namespace hopbench
