// Which bytes an index was made of: all files of a capture, as they were then.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "base/time.h"
#include "base/varint.h"

namespace hopbench {

/// One file of a capture.
struct FileMark {
  std::uint32_t segment = 0;
  std::uint64_t size = 0;
  Nanos modified = 0;         // when bytes of it were written last (mtime)
  Nanos changed = 0;          // when anything of it changed last (ctime), which nobody can set back
  std::uint64_t records = 0;  // that start before its last block, as that says
  std::uint32_t check = 0;    // CRC-32C of its last block
  friend bool operator==(const FileMark&, const FileMark&) = default;
};

struct FileMarks {
  std::vector<FileMark> files;  // in order
  std::uint32_t last_file = 0;  // CRC-32C of all of the last file, if the capture had no end: it may have grown since
  friend bool operator==(const FileMarks&, const FileMarks&) = default;
};

/// What there is now. Reads the last block of each file; `last_file` is left 0.
FileMarks marks_of(const std::string& capture);
/// CRC-32C of the first `size` bytes of one of its files, 0 if there are not so many.
std::uint32_t check_of_file(const std::string& capture, std::uint32_t segment, std::uint64_t size);

/// The same files, none of them touched.
inline bool is_same(const FileMarks& a, const FileMarks& b) { return a.files == b.files; }
/// The same files, but for what was added: to the last one, and further ones. That nothing else in the last one has
/// changed is not looked at.
bool has_grown(const FileMarks& was, const FileMarks& now);

void put_marks(const FileMarks& marks, VarintWriter& out);
FileMarks get_marks(VarintReader& in);

}  // namespace hopbench
