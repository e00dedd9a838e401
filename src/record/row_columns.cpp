#include "record/row_columns.h"

#include <algorithm>
#include <limits>
#include <string_view>

namespace hopbench {
namespace {

// Differences wrap around on purpose: the inverse wraps back, and no value is too far from the last one.
std::uint64_t minus(std::int64_t a, std::int64_t b) {
  return static_cast<std::uint64_t>(a) - static_cast<std::uint64_t>(b);
}
std::int64_t plus(std::int64_t a, std::uint64_t b) {
  return static_cast<std::int64_t>(static_cast<std::uint64_t>(a) + b);
}

std::uint64_t zigzag(std::uint64_t difference) {
  return (difference << 1U) ^ ((difference >> 63U) != 0 ? ~std::uint64_t{0} : 0);
}
std::uint64_t unzigzag(std::uint64_t coded) { return (coded >> 1U) ^ ((coded & 1U) != 0 ? ~std::uint64_t{0} : 0); }

void put_varint(std::string& out, std::uint64_t value) {
  while (value >= 0x80) {
    out.push_back(static_cast<char>(value | 0x80U));
    value >>= 7U;
  }
  out.push_back(static_cast<char>(value));
}

bool get_varint(std::string_view& in, std::uint64_t& value) {
  value = 0;
  for (unsigned shift = 0; shift < 64 && !in.empty(); shift += 7) {
    const auto byte = static_cast<std::uint8_t>(in.front());
    in.remove_prefix(1);
    value |= std::uint64_t{byte & 0x7fU} << shift;
    if ((byte & 0x80U) == 0) return shift < 63 || byte <= 1;
  }
  return false;
}

// A token is a run of nothing (even: twice its length), a difference (odd: twice its zigzag value, and one), or 1
// with a difference after it that is too large for that.
class ColumnWriter {
 public:
  explicit ColumnWriter(std::string& out) : out_(out) {}
  void put(std::uint64_t difference) {
    if (difference == 0) {
      ++nothing_;
      return;
    }
    finish();
    const std::uint64_t coded = zigzag(difference);
    if (coded >> 62U == 0) {
      put_varint(out_, (coded << 1U) | 1U);
    } else {
      put_varint(out_, 1);
      put_varint(out_, coded);
    }
  }
  void finish() {
    if (nothing_ > 0) put_varint(out_, nothing_ << 1U);
    nothing_ = 0;
  }

 private:
  std::string& out_;
  std::uint64_t nothing_ = 0;
};

class ColumnReader {
 public:
  explicit ColumnReader(std::string_view& in) : in_(in) {}
  bool get(std::uint64_t& difference) {
    difference = 0;
    if (nothing_ > 0) {
      --nothing_;
      return true;
    }
    std::uint64_t token = 0;
    if (!get_varint(in_, token) || token == 0) return false;
    if ((token & 1U) == 0) {
      nothing_ = (token >> 1U) - 1;
      return true;
    }
    std::uint64_t coded = token >> 1U;
    if (coded == 0 && !get_varint(in_, coded)) return false;
    difference = unzigzag(coded);
    return difference != 0;
  }
  /// How many of the next differences, `most` at most, are known to be nothing. They count as got.
  std::uint64_t take_run(std::uint64_t most) {
    const std::uint64_t run = std::min(nothing_, most);
    nothing_ -= run;
    return run;
  }
  /// A run must not reach beyond its column.
  [[nodiscard]] bool finished() const { return nothing_ == 0; }

 private:
  std::string_view& in_;
  std::uint64_t nothing_ = 0;
};

/// What says how a frame travelled, in one number that seldom changes from row to row.
std::int64_t manner_of(const HopRow& row) {
  return row.attempt | (row.answering ? 0x100 : 0) | (row.inherited ? 0x200 : 0) | (std::int64_t{row.copy} << 10U);
}

bool set_manner(HopRow& row, std::int64_t manner) {
  if (manner < 0 || manner >> 18U != 0) return false;
  row.attempt = static_cast<std::uint8_t>(manner & 0xff);
  row.answering = (manner & 0x100) != 0;
  row.inherited = (manner & 0x200) != 0;
  row.copy = static_cast<std::uint8_t>(manner >> 10U);
  return true;
}

template <class Value>
bool fits(std::int64_t value) {
  return value >= 0 && value <= std::numeric_limits<Value>::max();
}

}  // namespace

void encode_rows(std::span<const HopRow> rows, Nanos start, std::string& columns) {
  put_varint(columns, rows.size());
  const auto column = [&](std::int64_t first, std::int64_t step, auto value_of) {
    ColumnWriter writer(columns);
    std::int64_t last = first;
    for (std::size_t i = 0; i < rows.size(); ++i) {
      const std::int64_t value = value_of(i);
      writer.put(minus(value, plus(last, static_cast<std::uint64_t>(step))));
      last = value;
    }
    writer.finish();
  };
  column(-1, 1, [&](std::size_t i) { return std::int64_t{rows[i].link}; });
  column(0, 0, [&](std::size_t i) { return std::int64_t{rows[i].chars}; });
  column(0, 0, [&](std::size_t i) { return manner_of(rows[i]); });
  column(0, 0, [&](std::size_t i) { return static_cast<std::int64_t>(rows[i].symptom); });
  column(0, 0, [&](std::size_t i) {
    return static_cast<std::int64_t>(minus(rows[i].start, i == 0 ? start : rows[i - 1].end));
  });
  column(0, 0, [&](std::size_t i) { return static_cast<std::int64_t>(minus(rows[i].end, rows[i].start)); });
}

bool decode_rows(std::string_view columns, Nanos start, std::vector<HopRow>& rows) {
  rows.clear();
  std::uint64_t count = 0;
  if (!get_varint(columns, count) || count > max_rows) return false;
  rows.resize(count);
  const auto column = [&](std::int64_t first, std::int64_t step, auto take) {
    ColumnReader reader(columns);
    std::int64_t last = first;
    for (std::size_t i = 0; i < count;) {
      std::uint64_t difference = 0;
      if (!reader.get(difference)) return false;
      last = plus(plus(last, static_cast<std::uint64_t>(step)), difference);
      if (!take(i++, last)) return false;
      // Most of a healthy exchange is one run: no token is looked for in it.
      for (std::uint64_t run = reader.take_run(count - i); run > 0; --run) {
        last = plus(last, static_cast<std::uint64_t>(step));
        if (!take(i++, last)) return false;
      }
    }
    return reader.finished();
  };
  // Gaps are kept in `start` until the spans are there to add them up.
  const bool good = column(-1, 1,
                           [&](std::size_t i, std::int64_t v) {
                             rows[i].link = static_cast<std::uint16_t>(v);
                             return fits<std::uint16_t>(v);
                           }) &&
                    column(0, 0,
                           [&](std::size_t i, std::int64_t v) {
                             rows[i].chars = static_cast<std::uint16_t>(v);
                             return fits<std::uint16_t>(v);
                           }) &&
                    column(0, 0, [&](std::size_t i, std::int64_t v) { return set_manner(rows[i], v); }) &&
                    column(0, 0,
                           [&](std::size_t i, std::int64_t v) {
                             rows[i].symptom = static_cast<Symptom>(v);
                             return fits<std::uint8_t>(v);
                           }) &&
                    column(0, 0,
                           [&](std::size_t i, std::int64_t v) {
                             rows[i].start = v;
                             return true;
                           }) &&
                    column(0, 0, [&](std::size_t i, std::int64_t v) {
                      rows[i].end = v;
                      return true;
                    });
  if (!good || !columns.empty()) return false;
  Nanos before = start;
  for (auto& row : rows) {
    row.start = plus(before, static_cast<std::uint64_t>(row.start));
    row.end = plus(row.start, static_cast<std::uint64_t>(row.end));
    before = row.end;
  }
  return true;
}

}  // namespace hopbench
