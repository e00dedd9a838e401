// Reads a capture back: observations only. For the causes of a simulated run see record/truth.h.
#pragma once

#include <cstdint>
#include <memory>

#include "record/block_reader.h"
#include "record/record_codec.h"
#include "record/records.h"

namespace hopbench {

/// What is amiss with a capture, up to where it has been read.
struct CaptureDamage {
  std::uint64_t bytes_skipped = 0;    // in the middle; none of them gave a record
  std::uint64_t records_missing = 0;  // at least; those after the last good block header cannot be counted
  std::uint64_t torn_bytes = 0;       // a last write that did not get through whole: normal after a crash
  bool unclosed = true;               // no end: still growing, or its writer did not get to end it
  bool sum_disagrees = false;         // every fragment is good, yet they are not those that were written
  bool newer = false;                 // written by a newer version than this code can read

  [[nodiscard]] bool in_the_middle() const {
    return bytes_skipped > 0 || records_missing > 0 || sum_disagrees || newer;
  }
};

/// Damaged parts are passed over and told of in damage(); no input makes it throw or give a record that was not
/// written (short of forged check values).
class CaptureReader {
 public:
  explicit CaptureReader(std::unique_ptr<ByteSource> source);
  ~CaptureReader();

  /// False: no whole record for now. In a file that grows it may be called again.
  bool next(Record& record);
  [[nodiscard]] CaptureDamage damage() const;

 private:
  BlockReader blocks_;
  RecordDecoder decoder_;
  bool ended_ = false;
  bool newer_ = false;
  bool sum_disagrees_ = false;
  std::uint64_t unreadable_records_ = 0;
  std::uint64_t unreadable_bytes_ = 0;
};

/// Tells `sink` of a record; exchanges without their truth.
void pass_on(const Record& record, Sink& sink);

/// Tells `sink` all that was seen, as far as the reader gets.
void replay_observations(CaptureReader& reader, Sink& sink);

}  // namespace hopbench
