#include "seen/rows.h"

#include <algorithm>
#include <numeric>
#include <tuple>

namespace hopbench {

void sort_rows(std::vector<HopRow>& rows, std::vector<RowDamage>& damage, std::vector<RowTruth>& truths) {
  std::vector<std::uint32_t> order(rows.size());
  std::iota(order.begin(), order.end(), 0U);
  const auto key = [&](std::uint32_t i) {
    const HopRow& row = rows[i];
    return std::tuple(row.start, row.link, row.attempt, row.answering, row.copy, i);
  };
  std::sort(order.begin(), order.end(), [&](std::uint32_t a, std::uint32_t b) { return key(a) < key(b); });
  std::vector<std::uint32_t> place(rows.size());
  std::vector<HopRow> sorted;
  for (std::uint32_t i = 0; i < order.size(); ++i) {
    place[order[i]] = i;
    sorted.push_back(rows[order[i]]);
  }
  rows = std::move(sorted);
  for (RowDamage& each : damage) each.row = place[each.row];
  std::sort(damage.begin(), damage.end(), [](const RowDamage& a, const RowDamage& b) { return a.row < b.row; });
  for (RowTruth& truth : truths) truth.row = place[truth.row];
  std::sort(truths.begin(), truths.end(), [](const RowTruth& a, const RowTruth& b) {
    return std::tuple(a.row, a.cause, a.fault, a.bit) < std::tuple(b.row, b.cause, b.fault, b.bit);
  });
}

}  // namespace hopbench
