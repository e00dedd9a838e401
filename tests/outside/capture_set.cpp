#include "capture_set.h"

#include "record/byte_source.h"
#include "record/segment_path.h"

namespace hopbench {

CaptureSet CaptureSet::read(const std::string& path) {
  CaptureSet set;
  std::uint64_t run_id = 0;
  for (;; ++set.files) {
    std::string why;
    auto source = open_file(segment_path(path, set.files), why);
    if (!source) return set;
    CaptureReader reader(std::move(source));
    Record record;
    while (reader.next(record)) {
      switch (record.kind) {
        case RecordKind::head:
          if (set.files == 0) run_id = record.head.run_id;
          set.same_run = set.same_run && record.head.run_id == run_id && record.head.segment == set.files;
          if (set.files == 0) ++set.told;
          break;
        case RecordKind::build:
          if (set.files == 0) ++set.told;
          break;
        case RecordKind::dropped:
          set.dropped += record.dropped.seen().records;
          break;
        case RecordKind::end:
          if (!record.end.goes_on) ++set.told;
          set.ended = !record.end.goes_on;
          break;
        default:
          if (record.is_exchange()) {
            set.consecutive = set.consecutive && record.exchange.fixed.number == set.exchanges;
            ++set.exchanges;
          }
          ++set.told;
          break;
      }
    }
    set.damaged = set.damaged || reader.damage().in_the_middle();
  }
}

}  // namespace hopbench
