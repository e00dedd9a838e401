#include "capture_records.h"

#include "record/byte_source.h"

namespace hopbench {

CaptureRecords CaptureRecords::read(const std::string& path) {
  std::string why;
  auto source = open_file(path, why);
  INFO(path << ": " << why);
  REQUIRE(source);
  CaptureReader reader(std::move(source));
  CaptureRecords all;
  Record record;
  while (reader.next(record)) {
    if (record.is_exchange()) all.exchanges.push_back(record.exchange);
    switch (record.kind) {
      case RecordKind::head:
        all.head = record.head;
        break;
      case RecordKind::stray:
        all.strays.push_back(record.stray);
        break;
      case RecordKind::arrival:
        all.arrivals.push_back(record.arrival);
        break;
      case RecordKind::end:
        all.end = record.end;
        break;
      default:
        break;
    }
  }
  REQUIRE_FALSE(reader.damage().in_the_middle());
  return all;
}

}  // namespace hopbench
