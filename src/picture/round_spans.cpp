#include "picture/round_spans.h"

#include <algorithm>

namespace hopbench {
namespace {

template <class Spans>
Nanos after(const Spans& spans, Nanos span) {
  const auto found = std::upper_bound(spans.begin(), spans.end(), span);
  return found == spans.end() ? spans.back() : *found;
}

}  // namespace

Nanos longer_slice(Nanos span) { return after(slice_spans, span); }

bool is_slice_span(Nanos span) { return std::binary_search(slice_spans.begin(), slice_spans.end(), span); }

Nanos longer_column(Nanos span) { return after(column_spans, span); }

Nanos shorter_column(Nanos span) {
  const auto found = std::lower_bound(column_spans.begin(), column_spans.end(), span);
  return found == column_spans.begin() ? column_spans.front() : *std::prev(found);
}

Nanos column_for(Nanos from, Nanos until, std::size_t columns) {
  const auto most = static_cast<std::int64_t>(std::max<std::size_t>(1, columns));
  const Nanos last = std::max(from, until - 1);
  for (const Nanos span : column_spans) {
    if (slot_of(last, span) - slot_of(from, span) < most) return span;
  }
  return column_spans.back();
}

}  // namespace hopbench
