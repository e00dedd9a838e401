// What a record may hold: looked at once, when it is read, so that nobody behind the reader need ask again.
#pragma once

#include <cstddef>
#include <cstdint>

#include "record/records.h"

namespace hopbench {

/// Instants within the range that is_instant() tells, spans no longer than twice that, places that the head names.
/// Values of enumerations are not looked at: a later version may have added some. Before a head was taken, places are
/// held against the bounds below.
class Bounds {
 public:
  /// Most that a head may name: more than any chain has, and little enough for what is kept of each.
  /// docs/capture-format.md states these.
  static constexpr std::size_t most_links = 4096;
  static constexpr std::size_t most_nodes = 4096;
  static constexpr std::size_t most_entries = 65'536;
  static constexpr std::size_t most_faults = 65'536;
  static constexpr std::uint32_t most_cells = 65'536;
  static constexpr std::size_t most_attempts = 256;                       // of an exchange
  static constexpr std::uint64_t most_counted = std::uint64_t{1} << 48U;  // of any count: sums of many fit

  /// What later records are held against. False if it holds more itself than it may; how many links, nodes, entries
  /// and faults there are has been looked at before.
  [[nodiscard]] bool take(const RunInfo& run);
  [[nodiscard]] bool hold(const Record& record) const;
  [[nodiscard]] bool hold(const ExchangeTruth& truth) const;

 private:
  [[nodiscard]] bool hold_exchange(const ExchangeRecord& record) const;

  std::size_t links_ = most_links;
  std::size_t nodes_ = most_nodes;
  std::size_t entries_ = most_entries;
  std::size_t faults_ = most_faults;
  bool taken_ = false;
};

}  // namespace hopbench
