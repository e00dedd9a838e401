#include "record/capture_reader.h"

namespace hopbench {
namespace {

constexpr std::uint32_t known_major = 1;

}  // namespace

CaptureReader::CaptureReader(std::unique_ptr<ByteSource> source) : blocks_(std::move(source)) {}
CaptureReader::~CaptureReader() = default;

bool CaptureReader::next(Record& record) {
  BlockReader::Raw raw;
  while (!newer_ && blocks_.next(raw)) {
    switch (decoder_.decode(raw.kind, raw.payload, record)) {
      case RecordDecoder::Result::good:
        break;
      case RecordDecoder::Result::unknown_kind:
        continue;  // an addition of a later minor version
      case RecordDecoder::Result::unreadable:
        ++unreadable_records_;
        unreadable_bytes_ += raw.payload.size();
        continue;
    }
    record.number = raw.number;
    if (record.kind == RecordKind::head && record.head.major > known_major) {
      newer_ = true;
      return false;
    }
    if (record.kind == RecordKind::end) {
      ended_ = true;
      const auto damage = blocks_.damage();
      const bool whole = damage.bytes_skipped == 0 && damage.records_missing == 0;
      sum_disagrees_ = whole && (record.end.records != raw.number || record.end.crc_of_crcs != raw.crc_of_crcs);
    }
    return true;
  }
  return false;
}

CaptureDamage CaptureReader::damage() const {
  const auto blocks = blocks_.damage();
  CaptureDamage damage;
  damage.bytes_skipped = blocks.bytes_skipped + unreadable_bytes_;
  damage.records_missing = blocks.records_missing + unreadable_records_;
  damage.torn_bytes = blocks.torn_bytes;
  damage.unclosed = !ended_;
  damage.sum_disagrees = sum_disagrees_;
  damage.newer = newer_ || blocks.newer;
  return damage;
}

void pass_on(const Record& record, Sink& sink) {
  switch (record.kind) {
    case RecordKind::head:
      sink.begin(record.head.run);
      break;
    case RecordKind::build:
      break;
    case RecordKind::clean_exchange:
    case RecordKind::touched_exchange:
      sink.exchange(record.exchange.seen(), nullptr);
      break;
    case RecordKind::stray:
      sink.stray(record.stray.seen());
      break;
    case RecordKind::arrival:
      sink.arrival(record.arrival.seen());
      break;
    case RecordKind::end:
      sink.end(record.end.until, record.end.lateness);
      break;
    case RecordKind::tally:
      sink.tally(record.tally.seen());
      break;
    case RecordKind::state:
      sink.state(record.state.seen());
      break;
    case RecordKind::gap:
      sink.gap(record.gap.seen());
      break;
    case RecordKind::dropped:
      sink.dropped(record.dropped.seen());
      break;
    case RecordKind::command:
      sink.command(record.remark.seen());
      break;
    case RecordKind::note:
      sink.note(record.remark.seen());
      break;
  }
}

void replay_observations(CaptureReader& reader, Sink& sink) {
  Record record;
  while (reader.next(record)) pass_on(record, sink);
}

}  // namespace hopbench
