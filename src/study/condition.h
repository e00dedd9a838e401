// Conditions that held when something was tried, cut into bins that are the same for every capture.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>

#include "base/time.h"
#include "seen/observation.h"

namespace hopbench {

enum class Condition : std::uint8_t {
  balancing,    // cells balancing at once, in the whole battery
  charge,       // charge current; discharge and rest count as none
  temperature,  // of the warmest board
  supply,       // of the board that is farthest below the highest that it has shown
  hour,         // of the day by the wall clock, if the capture has one; else of 24 from its first instant
  gap,          // silence before it, as the controller hears it
  length,       // characters of the answer
  distance,     // hops to the node asked
  payload,      // level changes in what the plan entry's answer said last, against what it mostly has
};
inline constexpr std::size_t condition_count = 9;
inline constexpr std::size_t bin_count = 32;

/// One bin of each condition; `unknown_bin` where nothing is known.
using Bins = std::array<std::uint8_t, condition_count>;
inline constexpr std::uint8_t unknown_bin = 0xff;

std::string_view name_of(Condition condition);
/// As it stands before a colon: "Cells balancing".
std::string_view title_of(Condition condition);
/// As in "while ... rises".
std::string_view phrase_of(Condition condition);
/// What a bin holds, with its unit: "9 to 16 cells".
std::string bin_text(Condition condition, std::size_t bin);
/// What bins from `first` to `last` hold: "3 to 16 cells", "no cell to 4 cells".
std::string range_text(Condition condition, std::size_t first, std::size_t last);
/// Its lower and upper ends: "9 cells", "16 cells".
std::string bin_from(Condition condition, std::size_t bin);
std::string bin_to(Condition condition, std::size_t bin);

std::uint8_t balancing_bin(std::uint32_t cells);
std::uint8_t charge_bin(std::int32_t charge_ma);
std::uint8_t temperature_bin(std::int32_t board_mc);
/// A supply as a share of the highest: in steps of 2 %, fewer per cent in a higher bin.
std::uint8_t supply_bin(std::int32_t supply_mv, std::int32_t highest_mv);
std::uint8_t hour_bin(Nanos since_midnight);
std::uint8_t gap_bin(Nanos since_last);
std::uint8_t length_bin(std::uint32_t chars);
std::uint8_t distance_bin(std::uint32_t hops);
std::uint8_t payload_bin(double more_than_usual);

/// Level changes of bytes as characters on the line, start and stop bits between included: what pulses, and so what
/// widens or narrows them, hang on.
std::uint32_t level_changes(std::span<const std::uint8_t> bytes);

/// Lower border of a bin of temperature, in degrees Celsius.
int temperature_from(std::size_t bin);

}  // namespace hopbench
