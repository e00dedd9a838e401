#include "study/condition.h"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cmath>

namespace hopbench {
namespace {

constexpr std::uint8_t last_bin = bin_count - 1;
constexpr int coldest = -30;  // degrees Celsius
constexpr int degrees_a_bin = 4;
constexpr int usual_payload = 16;  // bin
constexpr std::array<std::int32_t, 6> charge_steps{1000, 3000, 10'000, 30'000, 100'000, 300'000};

std::uint8_t clamped(std::int64_t bin) { return static_cast<std::uint8_t>(std::clamp<std::int64_t>(bin, 0, last_bin)); }

std::string cells(std::uint64_t number) {
  return number == 0 ? "no cell" : number == 1 ? "1 cell" : fmt::format("{} cells", number);
}

std::string changes(int more) {
  return more < 0 ? fmt::format("{} fewer than usual", -more) : fmt::format("{} more than usual", more);
}

std::string amperes(std::size_t step) {
  return step == 0 ? "no charge current" : fmt::format("{} A", charge_steps[step - 1] / 1000);
}

}  // namespace

std::string_view name_of(Condition condition) {
  constexpr std::array<std::string_view, condition_count> names{
      "cells_balancing", "charge_current", "board_temperature", "supply", "hour",
      "gap_before",      "answer_length",  "distance",          "payload"};
  return names[static_cast<std::size_t>(condition)];
}

std::string_view title_of(Condition condition) {
  constexpr std::array<std::string_view, condition_count> titles{
      "Cells balancing", "Charge current", "Warmest board",        "Drop of a supply", "Hour",
      "Silence before",  "Reply length",   "Distance of the node", "Level changes"};
  return titles[static_cast<std::size_t>(condition)];
}

std::string_view phrase_of(Condition condition) {
  constexpr std::array<std::string_view, condition_count> phrases{"the number of cells balancing",
                                                                  "the charge current",
                                                                  "the temperature of the warmest board",
                                                                  "the drop of a board's supply",
                                                                  "the hour",
                                                                  "the silence before",
                                                                  "the length of the answer",
                                                                  "the distance of the node",
                                                                  "the number of level changes in what was last said"};
  return phrases[static_cast<std::size_t>(condition)];
}

std::string bin_from(Condition condition, std::size_t bin) {
  const auto number = static_cast<std::uint64_t>(bin);
  switch (condition) {
    case Condition::balancing:
      return cells(bin < 2 ? number : (1ULL << (number - 2)) + 1);
    case Condition::charge:
      return bin == 1 ? "any charge current" : amperes(bin == 0 ? 0 : std::min(bin - 1, charge_steps.size()));
    case Condition::temperature:
      return fmt::format("{} degrees", temperature_from(bin));
    case Condition::supply:
      return fmt::format("{} % below its highest", 2 * bin);
    case Condition::hour:
      return fmt::format("{:02}:00", bin);
    case Condition::gap:
      return bin == 0 ? "nothing" : fmt::format("{} ms", 1ULL << (number - 1));
    case Condition::length:
      return fmt::format("{} characters", 8 * number);
    case Condition::distance:
      return fmt::format("{} hops", 8 * number + 1);
    case Condition::payload:
      return changes(2 * (static_cast<int>(bin) - usual_payload) - 1);
  }
  return {};
}

std::string bin_to(Condition condition, std::size_t bin) {
  const auto number = static_cast<std::uint64_t>(bin);
  switch (condition) {
    case Condition::balancing:
      return cells(bin < 2 ? number : 1ULL << (number - 1));
    case Condition::charge:
      return amperes(std::min(bin, charge_steps.size()));
    case Condition::gap:
      return fmt::format("{} ms", 1ULL << number);
    case Condition::length:
      return fmt::format("{} characters", 8 * number + 7);
    case Condition::distance:
      return fmt::format("{} hops", 8 * number + 8);
    case Condition::payload:
      return changes(2 * (static_cast<int>(bin) - usual_payload) + 1);
    case Condition::temperature:
    case Condition::supply:
    case Condition::hour:
      break;
  }
  return bin_from(condition, bin + 1);
}

std::string range_text(Condition condition, std::size_t first, std::size_t last) {
  const auto from = bin_from(condition, first);
  const auto to = bin_to(condition, last);
  if (from == to || (condition == Condition::charge && last == 0)) return from;
  if (condition == Condition::charge && first == 1) return "up to " + to;
  const auto unit = [](const std::string& text) { return text.substr(std::min(text.size(), text.find(' '))); };
  const bool counted = from.front() >= '0' && from.front() <= '9' && to.front() != '-';
  const bool alike = counted && (unit(from) == unit(to) || from == "1 cell");
  return (alike ? from.substr(0, from.find(' ')) : from) + " to " + to;
}

std::string bin_text(Condition condition, std::size_t bin) { return range_text(condition, bin, bin); }

std::uint8_t balancing_bin(std::uint32_t cells) {
  if (cells == 0) return 0;
  return clamped(1 + static_cast<std::int64_t>(std::bit_width(cells - 1)));
}

std::uint8_t charge_bin(std::int32_t charge_ma) {
  if (charge_ma <= 0) return 0;
  const auto above = std::lower_bound(charge_steps.begin(), charge_steps.end(), charge_ma);
  return static_cast<std::uint8_t>(1 + (above - charge_steps.begin()));
}

std::uint8_t temperature_bin(std::int32_t board_mc) {
  return clamped((std::int64_t{board_mc} - coldest * 1000) / (degrees_a_bin * 1000));
}

int temperature_from(std::size_t bin) { return coldest + degrees_a_bin * static_cast<int>(bin); }

std::uint8_t supply_bin(std::int32_t supply_mv, std::int32_t highest_mv) {
  if (highest_mv <= 0) return unknown_bin;
  return clamped((std::int64_t{highest_mv} - supply_mv) * 50 / highest_mv);
}

std::uint8_t hour_bin(Nanos since_midnight) {
  const Nanos hours = since_midnight / (3600 * second) % 24;
  return static_cast<std::uint8_t>(hours < 0 ? hours + 24 : hours);
}

std::uint8_t gap_bin(Nanos since_last) {
  if (since_last < 0) return unknown_bin;
  return clamped(std::bit_width(static_cast<std::uint64_t>(since_last / millisecond)));
}

std::uint8_t length_bin(std::uint32_t chars) { return clamped(chars / 8); }

std::uint8_t payload_bin(double more_than_usual) {
  return clamped(usual_payload + std::lround(std::clamp(more_than_usual, -1000.0, 1000.0) / 2));
}

std::uint32_t level_changes(std::span<const std::uint8_t> bytes) {
  std::uint32_t sum = 0;
  for (const unsigned byte : bytes) {
    const unsigned character = byte << 1U | 0x200U;  // start bit low, stop bit high
    sum += 1U + static_cast<unsigned>(std::popcount((character ^ character >> 1U) & 0x1ffU));
  }
  return sum;
}

std::uint8_t distance_bin(std::uint32_t hops) { return hops == 0 ? 0 : clamped((hops - 1) / 8); }

}  // namespace hopbench
