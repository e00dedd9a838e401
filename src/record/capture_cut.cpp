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
    copy.dropped({std::min<Nanos>(0, span.from), span.from, 0, cut_reason});
  }
  const std::uint64_t before = copy.records();
  RecordDecoder decoder;
  Record record;
  BlockReader::Raw raw;
  bool closed = false;
  Nanos last = 0;
  while (!closed && reader->next_raw(raw)) {
    const auto kind = static_cast<RecordKind>(raw.kind);
    if (kind == RecordKind::head || kind == RecordKind::build) continue;
    const bool known = decoder.decode(raw.kind, raw.payload, record) == RecordDecoder::Result::good;
    if (kind == RecordKind::end) {
      if (!known) continue;
      const bool whole = record.end.until <= span.to;
      copy.tell_of(reader->damage(), std::min(record.end.until, span.to));
      copy.append_end(std::min(record.end.until, span.to), whole ? record.end.lateness : Lateness{});
      closed = true;
      continue;
    }
    const auto time = known ? time_of(record) : std::nullopt;
    if (time && *time >= span.to) {
      copy.tell_of(reader->damage(), span.to);
      copy.append_end(span.to, {});
      closed = true;
      continue;
    }
    if (time) last = std::max(last, *time);
    copy.append(raw, time.value_or(0));
  }
  copied.damage = reader->damage();
  if (copy.records() == before) {
    return refused(Copied::Trouble::bad_input, path + ": no record lies in that span; nothing was written");
  }
  if (!closed) copy.tell_of(copied.damage, last);
  if (!closed) copied.remarks.push_back(path + ": not closed, and so is the cut: it goes as far as the capture does");
  copied.records = copy.records() - (begins_later ? 1 : 0);
  if (const int error = copy.place(); error != 0) return refused_file(out, error);
  return copied;
}

}  // namespace hopbench
