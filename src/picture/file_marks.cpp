#include "picture/file_marks.h"

#include <sys/stat.h>

#include <algorithm>
#include <memory>

#include "record/block_search.h"
#include "record/byte_source.h"
#include "record/segment_path.h"
#include "record/segments.h"

namespace hopbench {
namespace {

/// More files than a folder has; each takes up some bytes of an index.
constexpr std::uint64_t most_files = 1U << 20U;
constexpr std::size_t bytes_at_once = 16 * block_bytes;

Nanos instant(const timespec& time) { return Nanos{time.tv_sec} * second + time.tv_nsec; }

/// Of the bytes from `from` up to `to`; 0 if they are not all there.
std::uint32_t check_of(ByteSource& source, std::uint64_t from, std::uint64_t to) {
  std::vector<std::uint8_t> bytes(static_cast<std::size_t>(std::min<std::uint64_t>(to - from, bytes_at_once)));
  Crc32c crc;
  while (from < to) {
    const auto part =
        std::span(bytes).first(static_cast<std::size_t>(std::min<std::uint64_t>(to - from, bytes.size())));
    if (source.read(from, part) != part.size()) return 0;
    crc.feed(part);
    from += part.size();
  }
  return crc.value();
}

FileMark mark_of(const std::string& capture, std::uint32_t segment) {
  FileMark mark;
  mark.segment = segment;
  const std::string path = segment_path(capture, segment);
  struct stat info {};
  if (::stat(path.c_str(), &info) != 0) return mark;
  mark.size = static_cast<std::uint64_t>(info.st_size);
  mark.modified = instant(info.st_mtim);
  mark.changed = instant(info.st_ctim);
  std::string why;
  const auto source = open_file(path, why);
  if (!source || mark.size == 0) return mark;
  const std::uint64_t last = (mark.size - 1) / block_bytes;
  if (const auto header = header_at(*source, last, std::nullopt)) mark.records = header->first_record;
  mark.check = check_of(*source, last * block_bytes, mark.size);
  return mark;
}

}  // namespace

FileMarks marks_of(const std::string& capture) {
  FileMarks marks;
  marks.files.push_back(mark_of(capture, 0));
  for (const auto segment : segments_of(capture)->further()) marks.files.push_back(mark_of(capture, segment));
  return marks;
}

std::uint32_t check_of_file(const std::string& capture, std::uint32_t segment, std::uint64_t size) {
  std::string why;
  const auto source = open_file(segment_path(capture, segment), why);
  return source ? check_of(*source, 0, size) : 0;
}

bool has_grown(const FileMarks& was, const FileMarks& now) {
  if (was.files.empty() || now.files.size() < was.files.size()) return false;
  const auto last = was.files.size() - 1;
  const auto& before = was.files[last];
  const auto& after = now.files[last];
  return std::equal(was.files.begin(), was.files.end() - 1, now.files.begin()) && before.segment == after.segment &&
         before.size > 0 && (before.size < after.size || before == after);
}

void put_marks(const FileMarks& marks, VarintWriter& out) {
  out.put(marks.files.size());
  for (const auto& file : marks.files) {
    out.put(file.segment);
    out.put(file.size);
    out.put(folded(file.modified));
    out.put(folded(file.changed));
    out.put(file.records);
    out.put(file.check);
  }
  out.put(marks.last_file);
}

FileMarks get_marks(VarintReader& in) {
  FileMarks marks;
  const auto count = in.get(most_files);
  for (std::uint64_t i = 0; i < count && in.good(); ++i) {
    FileMark file;
    file.segment = static_cast<std::uint32_t>(in.get(~0U));
    file.size = in.get();
    file.modified = unfolded(in.get());
    file.changed = unfolded(in.get());
    file.records = in.get();
    file.check = static_cast<std::uint32_t>(in.get(~0U));
    marks.files.push_back(file);
  }
  marks.last_file = static_cast<std::uint32_t>(in.get(~0U));
  return marks;
}

}  // namespace hopbench
