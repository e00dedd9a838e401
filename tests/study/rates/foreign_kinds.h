// What faults are made of that no scenario can say.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "draft.h"
#include "foreign.h"
#include "habits.h"
#include "support/dice.h"

namespace hopbench::rates {

/// A frame as it went over the link on which the fault will strike.
struct Passed {
  std::uint32_t entry = 0;
  bool answering = false;
  std::uint16_t chars = 0;
  std::vector<std::uint8_t> content;
};

/// What a fault is put into.
struct Site {
  Dice& dice;
  const Draft& draft;
  const Habits& habits;
  std::uint16_t link = 0;
  Nanos run = 0;
  const std::vector<Passed>& passed;  // in order

  [[nodiscard]] std::string end() const { return draft.name_of_end(link); }
};

inline constexpr Nanos minute = 60 * second;
inline constexpr std::size_t payload_at = 10;  // in a frame of bench-frame
inline constexpr std::size_t exchange_at = 7;  // two bytes, the high one first

using MakeForeign = ForeignFault (*)(const Site&);
/// Rules of bytes, numbers, time and order.
std::vector<MakeForeign> plain_foreign();
/// Others, different in kind.
std::vector<MakeForeign> more_foreign();
/// Whether it takes days to show.
bool takes_days(std::size_t kind);

}  // namespace hopbench::rates
