// What a node can put into an answer, by name. The names stand in bus descriptions and scenarios.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

namespace hopbench {

enum class Quantity : std::uint8_t {
  cell_mv,  // voltage of cell `index`, mV
  cell_uv,  // the same, uV
  cell_count,
  board_temp_mc,  // milli degrees Celsius
  supply_mv,
  snapshot_age_ms,  // age of the values in this answer
  serial_number,
  uptime_s,
  frames_heard,  // counters since the last start
  check_failures,
  bleed_mask,     // bit per cell; writable
  low_limit_mv,   // writable
  high_limit_mv,  // writable
  address,
  kind_code,          // 1 single-cell, 2 multi-cell
  string_current_ma,  // into the battery; negative: out of it
};

struct QuantityInfo {
  Quantity quantity;
  std::string_view name;
  std::string_view unit;
  bool writable;
  bool per_cell;
  std::string_view meaning;
};

/// All of them, in order of their values.
std::span<const QuantityInfo> quantities();
std::optional<Quantity> quantity_named(std::string_view name);

}  // namespace hopbench
