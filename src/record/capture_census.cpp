#include "record/capture_census.h"

#include <algorithm>

#include "record/truth.h"

namespace hopbench {
namespace {

void cover(CaptureCensus& census, Nanos from, Nanos to) {
  census.first = std::min(census.first.value_or(from), from);
  census.last = std::max(census.last.value_or(to), to);
}

void count(CaptureCensus& census, const Record& record) {
  if (record.is_exchange()) {
    const auto& exchange = record.exchange.fixed;
    ++census.exchanges;
    if (const auto outcome = static_cast<std::size_t>(exchange.outcome); outcome < census.outcomes.size()) {
      ++census.outcomes[outcome];
    }
    cover(census, exchange.start, exchange.closed);
    return;
  }
  switch (record.kind) {
    case RecordKind::head:
      if (!census.head) census.head = record.head;
      break;
    case RecordKind::build:
      if (!census.build) census.build = record.build;
      break;
    case RecordKind::tally:
      census.tallied += record.tally.fixed.exchanges;
      cover(census, record.tally.fixed.from, record.tally.fixed.to);
      break;
    case RecordKind::dropped:
      census.dropped_records += record.dropped.records;
      break;
    case RecordKind::end:
      census.last = std::max(census.last.value_or(record.end.until), record.end.until);
      break;
    default:
      break;
  }
}

}  // namespace

CaptureCensus census_of(CaptureReader& reader) {
  CaptureCensus census;
  RecordDecoder decoder;
  Record record;
  BlockReader::Raw raw;
  std::uint64_t unreadable_records = 0;
  std::uint64_t unreadable_bytes = 0;
  TruthReader truths;
  while (reader.next_raw(raw)) {
    const auto result = decoder.decode(raw.kind, raw.payload, record);
    if (result == RecordDecoder::Result::unreadable) {
      ++unreadable_records;
      unreadable_bytes += raw.payload.size();
      continue;
    }
    ++census.records;
    ++census.kinds[raw.kind % census.kinds.size()];
    if (result != RecordDecoder::Result::good) continue;
    count(census, record);
    if (record.kind == RecordKind::head) truths.begin(record.head.run);
    if (record.is_exchange()) static_cast<void>(truths.of(record.exchange));
    if (record.is_exchange() && truths.misfit()) reader.causes_unreadable();
  }
  census.damage = reader.damage();
  census.damage.records_missing += unreadable_records;
  census.damage.bytes_skipped += unreadable_bytes;
  census.files = reader.segments_read();
  return census;
}

}  // namespace hopbench
