// Rows that were seen before. In a healthy chain the exchanges of one plan entry have the same rows again and again,
// but for when they began: their columns need not be worked out each time.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/time.h"
#include "seen/observation.h"

namespace hopbench {

/// Remembers a few; forgets whatever a newer one takes the place of. Gives what encode_rows() and decode_rows() give.
class RowMemo {
 public:
  static constexpr std::size_t places = 256;
  /// The columns of `rows`, valid until the next call. `entry`: of the exchange, a hint where to look.
  std::string_view columns_of(std::span<const HopRow> rows, Nanos start, std::uint32_t entry);
  /// The inverse; false as decode_rows().
  bool rows_of(std::string_view columns, Nanos start, std::vector<HopRow>& rows);

 private:
  struct Known {
    std::string columns;
    std::vector<HopRow> rows;  // of an exchange that began at 0
  };
  Known& place(std::uint32_t hint);

  static constexpr std::size_t most_rows = 512;  // more are worked out each time
  std::vector<Known> known_;
  Known other_;
};

}  // namespace hopbench
