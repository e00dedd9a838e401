#include "scenario/quantity.h"

#include <array>

namespace hopbench {
namespace {

constexpr std::array<QuantityInfo, 16> table{{
    {Quantity::cell_mv, "cell_mv", "mV", false, true, "voltage of a cell"},
    {Quantity::cell_uv, "cell_uv", "uV", false, true, "voltage of a cell, finer"},
    {Quantity::cell_count, "cell_count", "", false, false, "cells on this board"},
    {Quantity::board_temp_mc, "board_temp_mc", "m°C", false, false, "temperature of the board"},
    {Quantity::supply_mv, "supply_mv", "mV", false, false, "supply voltage of the board"},
    {Quantity::snapshot_age_ms, "snapshot_age_ms", "ms", false, false, "age of the values in this answer"},
    {Quantity::serial_number, "serial_number", "", false, false, "serial number, drawn once for each node"},
    {Quantity::uptime_s, "uptime_s", "s", false, false, "time since the last start"},
    {Quantity::frames_heard, "frames_heard", "", false, false, "good frames heard since the last start"},
    {Quantity::check_failures, "check_failures", "", false, false, "damaged frames heard since the last start"},
    {Quantity::bleed_mask, "bleed_mask", "", true, false, "cells being bled, a bit each"},
    {Quantity::low_limit_mv, "low_limit_mv", "mV", true, false, "low voltage limit"},
    {Quantity::high_limit_mv, "high_limit_mv", "mV", true, false, "high voltage limit"},
    {Quantity::address, "address", "", false, false, "address of the node, 0 if it has none"},
    {Quantity::kind_code, "kind_code", "", false, false, "1 single-cell node, 2 multi-cell node"},
    {Quantity::string_current_ma, "string_current_ma", "mA", false, false,
     "current into the battery, negative out of it"},
}};

}  // namespace

std::span<const QuantityInfo> quantities() { return table; }

std::optional<Quantity> quantity_named(std::string_view name) {
  for (const auto& row : table) {
    if (row.name == name) return row.quantity;
  }
  return std::nullopt;
}

}  // namespace hopbench
