// Characters as they stand on a wire: when each begins, and from bytes to levels and back to places in time.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "base/time.h"
#include "bus/description.h"
#include "line/levels.h"

namespace hopbench {

/// Instant of half bit `half_bits` of something that began at `start`.
constexpr Nanos half_edge(Nanos start, std::uint64_t half_bits, Period period) {
  return start + static_cast<Nanos>((static_cast<unsigned __int128>(half_bits) * period) >> 33U);
}

/// Slots of a character that can be hit by themselves: start, data, parity, and each begun stop bit.
constexpr std::uint32_t slots_per_char(const LineCoding& line) { return (line.char_half_bits() + 1) / 2; }

/// When the characters of a transmission begin: back to back, or each at its own time (a node that passes characters
/// on as they come leaves gaps).
class Timing {
 public:
  Timing() = default;
  /// Back to back from `start`.
  Timing(Nanos start, Period period, std::uint32_t chars, std::uint32_t char_half_bits)
      : start_(start), period_(period), chars_(chars), char_half_bits_(char_half_bits) {}

  /// Each character at its own time; `starts` in rising order, at least a character apart.
  void set_starts(std::span<const Nanos> starts);
  void move_to(Nanos start);

  [[nodiscard]] Nanos start() const { return start_; }
  [[nodiscard]] Period period() const { return period_; }
  [[nodiscard]] std::uint32_t chars() const { return chars_; }
  [[nodiscard]] std::uint32_t char_half_bits() const { return char_half_bits_; }
  [[nodiscard]] bool back_to_back() const { return starts_.empty(); }
  [[nodiscard]] Nanos end() const { return chars_ == 0 ? start_ : char_end(chars_ - 1); }
  [[nodiscard]] Nanos char_start(std::uint32_t i) const { return place(i, 0); }
  [[nodiscard]] Nanos char_end(std::uint32_t i) const { return place(i, char_half_bits_); }
  /// Edge of half bit `half` (0..char_half_bits) of character i.
  [[nodiscard]] Nanos place(std::uint32_t i, std::uint32_t half) const {
    return starts_.empty() ? half_edge(start_, static_cast<std::uint64_t>(i) * char_half_bits_ + half, period_)
                           : half_edge(starts_[i], half, period_);
  }
  /// End of the character during which `at` lies; `at` itself if it lies in none or in a gap.
  [[nodiscard]] Nanos end_of_char_at(Nanos at) const;

 private:
  Nanos start_ = 0;
  Period period_ = 1;
  std::uint32_t chars_ = 0;
  std::uint32_t char_half_bits_ = 20;
  std::vector<Nanos> starts_;
};

/// Levels of `bytes` sent with `timing`. bytes.size() must be timing.chars().
void to_levels(std::span<const std::uint8_t> bytes, const LineCoding& line, const Timing& timing, Levels& levels);

/// Turns over the level during one slot, counted from the first character's start.
void invert_slot(const LineCoding& line, const Timing& timing, std::uint32_t slot, Levels& levels);

}  // namespace hopbench
