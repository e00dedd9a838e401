#include "record/row_memo.h"

#include "record/crc32c.h"
#include "record/row_columns.h"

namespace hopbench {
namespace {

/// Instants of a damaged capture may be as far apart as there are.
Nanos moved(Nanos at, Nanos by) {
  return static_cast<Nanos>(static_cast<std::uint64_t>(at) + static_cast<std::uint64_t>(by));
}
Nanos back(Nanos at, Nanos by) {
  return static_cast<Nanos>(static_cast<std::uint64_t>(at) - static_cast<std::uint64_t>(by));
}

bool same_but_for_start(std::span<const HopRow> rows, Nanos start, const std::vector<HopRow>& known) {
  if (rows.size() != known.size()) return false;
  // Without a branch for each field: they are nearly always the same.
  std::uint64_t difference = 0;
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const HopRow& a = rows[i];
    const HopRow& b = known[i];
    difference |= static_cast<std::uint64_t>(back(a.start, start) ^ b.start);
    difference |= static_cast<std::uint64_t>(back(a.end, start) ^ b.end);
    difference |= static_cast<std::uint64_t>(a.link ^ b.link) | static_cast<std::uint64_t>(a.chars ^ b.chars);
    difference |= static_cast<std::uint64_t>(a.attempt ^ b.attempt) | static_cast<std::uint64_t>(a.copy ^ b.copy);
    difference |= static_cast<std::uint64_t>(a.answering != b.answering) |
                  static_cast<std::uint64_t>(a.symptom != b.symptom) |
                  static_cast<std::uint64_t>(a.inherited != b.inherited);
  }
  return difference == 0;
}

}  // namespace

RowMemo::Known& RowMemo::place(std::uint32_t hint) {
  if (known_.empty()) known_.resize(places);
  return known_[hint % places];
}

std::string_view RowMemo::columns_of(std::span<const HopRow> rows, Nanos start, std::uint32_t entry) {
  if (rows.size() > most_rows) {
    other_.columns.clear();
    encode_rows(rows, start, other_.columns);
    return other_.columns;
  }
  Known& known = place(entry);
  if (!known.columns.empty() && same_but_for_start(rows, start, known.rows)) return known.columns;
  known.columns.clear();
  encode_rows(rows, start, known.columns);
  known.rows.assign(rows.begin(), rows.end());
  for (HopRow& row : known.rows) {
    row.start = back(row.start, start);
    row.end = back(row.end, start);
  }
  return known.columns;
}

bool RowMemo::rows_of(std::string_view columns, Nanos start, std::vector<HopRow>& rows) {
  const std::span bytes(reinterpret_cast<const std::uint8_t*>(columns.data()), columns.size());
  Known& known = place(Crc32c().feed(bytes).value());
  if (known.columns.empty() || known.columns != columns) {
    if (!decode_rows(columns, start, rows)) return false;
    if (rows.size() > most_rows) return true;
    known.columns = columns;
    known.rows = rows;
    for (HopRow& row : known.rows) {
      row.start = back(row.start, start);
      row.end = back(row.end, start);
    }
    return true;
  }
  rows = known.rows;
  for (HopRow& row : rows) {
    row.start = moved(row.start, start);
    row.end = moved(row.end, start);
  }
  return true;
}

}  // namespace hopbench
