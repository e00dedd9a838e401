// Records into blocks into a file. Knows nothing of what a record means.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "base/time.h"
#include "record/file_ops.h"
#include "record/frame_layout.h"

namespace hopbench {

/// Appends records to one new file. After the first failure the file is left alone for good (a torn segment is
/// never appended to) and every record not yet written counts as dropped.
class BlockWriter {
 public:
  /// Takes whole blocks to the file as they fill; what is under a block waits for flush(). `segment` and
  /// `close_floor` (what the segments before have come to) are told in block headers.
  BlockWriter(FileOps& ops, const std::string& path, std::uint64_t run_id, std::uint32_t segment = 0,
              Nanos close_floor = 0);
  /// Flushes and closes.
  ~BlockWriter();
  BlockWriter(const BlockWriter&) = delete;
  BlockWriter& operator=(const BlockWriter&) = delete;

  /// `closed`: when the exchange in it was closed; 0 or the last one's for other records.
  void append(RecordKind kind, std::span<const std::uint8_t> payload, Nanos closed);
  /// Hands everything to the operating system: it outlives this process then.
  void flush();
  /// Flushes, and asks for it to be on the disk: it outlives a power cut then.
  void sync();

  /// Keeps room for the file up to this size, as FileOps::reserve() has it, until it is closed.
  int reserve(std::uint64_t size);
  [[nodiscard]] std::uint64_t reserved() const { return reserved_; }

  /// 0, or the errno of what went wrong first.
  [[nodiscard]] int error() const { return error_; }
  [[nodiscard]] std::uint64_t records() const { return records_; }
  /// Records of which the last byte was handed over.
  [[nodiscard]] std::uint64_t records_written() const { return written_records_; }
  [[nodiscard]] std::uint64_t dropped() const { return error_ == 0 ? 0 : records_ - written_records_; }
  [[nodiscard]] std::uint32_t crc_of_crcs() const { return sums_.value(); }
  [[nodiscard]] Nanos close_floor() const { return close_floor_; }
  /// Bytes that the records so far take up, written or not.
  [[nodiscard]] std::uint64_t size() const { return position_; }

 private:
  void begin_block();
  void put_fragment(RecordKind kind, Part part, std::span<const std::uint8_t> payload);
  void write_out(std::size_t bytes);

  FileOps& ops_;
  int file_ = -1;
  int error_ = 0;
  std::uint64_t run_id_;
  std::uint32_t segment_;
  std::uint64_t position_ = 0;  // in the file, of the next byte
  std::uint64_t records_ = 0;   // appended
  std::uint64_t written_records_ = 0;
  std::uint64_t written_bytes_ = 0;
  std::uint64_t reserved_ = 0;  // size up to which room is kept
  Nanos close_floor_;
  bool inside_record_ = false;
  Crc32c sums_;
  std::vector<std::uint8_t> pending_;  // from written_bytes_ to position_
  std::vector<std::uint64_t> ends_;    // of records of which not all is known to be written
};

}  // namespace hopbench
