// Slices kept in a file beside a capture, so that the whole picture is there at once the next time. Never needed: it is
// made anew from the capture if it is missing, damaged, of another version, or of anything but just these bytes.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "picture/file_marks.h"
#include "picture/slices.h"
#include "record/capture_damage.h"

namespace hopbench {

/// Up to which record of the capture an index reaches. What follows that record without a time of its own (states,
/// gaps) may be told again without harm.
struct IndexPlace {
  std::uint64_t run_id = 0;
  Nanos closed = 0;          // of the last exchange or tally
  std::uint64_t number = 0;  // of that exchange; of a tally its last
  bool ended = false;        // its end is in the index
  CaptureDamage damage;      // found up to there; how it ends is not kept
  FileMarks marks;           // that it was made of
  std::string program;       // version of the program that made it
  friend bool operator==(const IndexPlace&, const IndexPlace&) = default;
};

/// "CAPTURE.slices".
std::string index_path(const std::string& capture);

std::vector<std::uint8_t> index_bytes(const Slices& slices, const IndexPlace& place);
/// False, and `slices` begun anew, if these bytes are not an index of this run. Memory stays below that of the largest
/// index there can be.
bool read_index(std::span<const std::uint8_t> bytes, const RunInfo& run, std::uint64_t run_id, Slices& slices,
                IndexPlace& place);

/// False if there is none that can be read, if it is no regular file, or of more than 512 MB.
bool load_index(const std::string& path, const RunInfo& run, std::uint64_t run_id, Slices& slices, IndexPlace& place);
/// Written whole under another name first, through no link. False if it could not be.
bool save_index(const std::string& path, const Slices& slices, const IndexPlace& place);

}  // namespace hopbench
