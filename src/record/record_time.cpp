#include "record/record_time.h"

namespace hopbench {

std::optional<Nanos> time_of(const Record& record) {
  if (record.is_exchange()) return record.exchange.fixed.closed;
  if (record.kind == RecordKind::tally) return record.tally.fixed.to;
  return std::nullopt;
}

namespace {

/// f(first instant, last instant).
template <class F>
std::optional<Nanos> of_span(const Record& record, F f) {
  switch (record.kind) {
    case RecordKind::clean_exchange:
    case RecordKind::touched_exchange:
      return f(record.exchange.fixed.start, record.exchange.fixed.closed);
    case RecordKind::tally:
      return f(record.tally.fixed.from, record.tally.fixed.to);
    case RecordKind::stray:
      return f(record.stray.fixed.at, record.stray.fixed.at);
    case RecordKind::arrival:
      return f(record.arrival.fixed.at, record.arrival.fixed.at);
    case RecordKind::state:
      return f(record.state.fixed.at, record.state.fixed.at);
    case RecordKind::gap:
      return f(record.gap.from, record.gap.to);
    case RecordKind::hole:
    case RecordKind::dropped:
      return f(record.dropped.from, record.dropped.to);
    case RecordKind::command:
    case RecordKind::note:
      return f(record.remark.at, record.remark.at);
    case RecordKind::end:
      return f(record.end.until, record.end.until);
    case RecordKind::head:
    case RecordKind::build:
      break;
  }
  return std::nullopt;
}

}  // namespace

std::optional<Nanos> begins_at(const Record& record) {
  return of_span(record, [](Nanos from, Nanos) { return from; });
}

std::optional<Nanos> ends_at(const Record& record) {
  return of_span(record, [](Nanos, Nanos to) { return to; });
}

}  // namespace hopbench
