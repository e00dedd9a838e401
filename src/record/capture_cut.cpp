#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <cstring>

#include "record/capture_copy.h"
#include "record/capture_parts.h"
#include "record/copy_trouble.h"

namespace hopbench {

Copied cut_capture(const std::string& path, const std::string& out, const CutSpan& span) {
  Copied copied;
  std::string why;
  const auto first = open_capture(path, why);
  if (!first) return refused(Copied::Trouble::file, path + ": " + why);
  const auto opening = read_opening(*first);
  if (!opening) return refused(Copied::Trouble::bad_input, path + ": no capture, or its head cannot be read");
  CaptureCopy copy(out, *opening);
  if (copy.error() != 0) return refused_file(out, copy.error());

  const auto reader = open_capture(path, why);
  if (!reader) return refused(Copied::Trouble::file, path + ": " + why);
  const bool begins_later = span.from > std::numeric_limits<Nanos>::min();
  if (begins_later) {
    reader->seek(span.from);
    // How many they were is not known: they were not read.
    const Nanos from = std::clamp(span.from, -farthest_instant, farthest_instant);
    copy.dropped({std::min<Nanos>(0, from), from, 0, cut_reason});
    if (const auto hole = reader->take_hole()) copy.dropped(hole->seen());
  }
  const std::uint64_t before = copy.records();
  RecordDecoder decoder;
  Record record;
  BlockReader::Raw raw;
  Holes holes;
  if (begins_later) holes.jump_to(std::clamp(span.from, -farthest_instant, farthest_instant));
  bool closed = false;
  while (!closed && reader->next_raw(raw)) {
    const auto kind = static_cast<RecordKind>(raw.kind);
    if (const auto missing = reader->missing()) holes.missed(*missing);
    if (kind == RecordKind::head || kind == RecordKind::build) continue;
    const bool known = decoder.decode(raw.kind, raw.payload, record) == RecordDecoder::Result::good;
    if (const auto hole = known ? holes.close(record) : std::nullopt) {
      if (hole->from < span.to) copy.dropped({hole->from, std::min(hole->to, span.to), hole->records, hole->why});
    }
    if (kind == RecordKind::end) {
      if (!known) continue;
      const bool whole = record.end.until <= span.to;
      copy.append_end(std::min(record.end.until, span.to), whole ? record.end.lateness : Lateness{});
      closed = true;
      continue;
    }
    const auto time = known ? time_of(record) : std::nullopt;
    if (time && *time >= span.to) {
      copy.append_end(span.to, {});
      closed = true;
      continue;
    }
    copy.append(raw, time.value_or(0));
  }
  copied.damage = reader->damage();
  if (copy.records() == before) {
    return refused(Copied::Trouble::bad_input, path + ": no record lies in that span; nothing was written");
  }
  if (const auto missing = closed ? std::nullopt : reader->missing_at_end()) holes.missed(*missing);
  if (const auto hole = closed ? std::nullopt : holes.at_end()) copy.dropped(hole->seen());
  if (!closed) copied.remarks.push_back(path + ": not closed, and so is the cut: it goes as far as the capture does");
  copied.records = copy.records() - (begins_later ? 1 : 0);
  if (const int error = copy.place(); error != 0) return refused_file(out, error);
  return copied;
}

}  // namespace hopbench
