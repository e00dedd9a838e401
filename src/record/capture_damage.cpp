#include "record/capture_damage.h"

namespace hopbench {

void CaptureDamage::add(const CaptureDamage& later) {
  bytes_skipped += later.bytes_skipped;
  records_missing += later.records_missing;
  torn_bytes = torn_before + later.torn_bytes;
  torn_before += later.torn_before;
  segments_missing += later.segments_missing;
  segments_misplaced += later.segments_misplaced;
  segments_cut += later.segments_cut;
  if (!first_bad_segment) first_bad_segment = later.first_bad_segment;
  causes_unreadable += later.causes_unreadable;
  unclosed = later.unclosed;
  goes_on = later.goes_on;
  sum_disagrees = sum_disagrees || later.sum_disagrees;
  newer = newer || later.newer;
}

}  // namespace hopbench
