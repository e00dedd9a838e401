// A file back into records, passing over what is damaged. Knows nothing of what a record means.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "record/byte_source.h"
#include "record/frame_layout.h"

namespace hopbench {

/// Reads while the file grows: next() that found no whole record may be called again later. Never gives a record
/// that was not written, and gives records in the order of their numbers. Memory: a block and a record.
class BlockReader {
 public:
  /// `run_id`: blocks of other runs are damage. None: the first good block tells.
  explicit BlockReader(std::unique_ptr<ByteSource> source, std::optional<std::uint64_t> run_id = std::nullopt);

  struct Raw {
    std::uint64_t number = 0;
    std::uint8_t kind = 0;
    std::span<const std::uint8_t> payload;  // valid until the next call
    std::uint32_t crc_of_crcs = 0;          // of all fragments before this record, if nothing was passed over
  };
  /// False: no whole record for now.
  bool next(Raw& raw);
  /// Goes on at the first record that starts in this block. What lies between is neither read nor called missing.
  void go_to(std::uint64_t block);

  struct Damage {
    std::uint64_t bytes_skipped = 0;    // passed over: not what was written
    std::uint64_t records_missing = 0;  // known to have been begun, and not given
    std::uint64_t torn_bytes = 0;       // at the end: of a record or header that is not all there
    bool newer = false;                 // a block is of a version that this code does not know
  };
  [[nodiscard]] Damage damage() const;
  /// The same up to the last record that was given, without a look at the file.
  [[nodiscard]] const Damage& passed_over() const { return damage_; }
  /// Of the run that is read; none until the first good block.
  [[nodiscard]] std::optional<std::uint64_t> run_id() const { return run_id_; }
  [[nodiscard]] ByteSource& source() { return *source_; }

 private:
  /// A record of which the end has not come yet.
  struct Partial {
    bool active = false;
    std::uint64_t number = 0;
    std::uint8_t kind = 0;
    std::uint64_t cost = 0;  // bytes of its fragments
    std::vector<std::uint8_t> bytes;
  };
  enum class Step : std::uint8_t { again, wait, record };

  bool read_more();
  Step step(Raw& raw);
  Step step_block_header();
  Step step_padding(std::size_t room);
  Step take(const FragmentHeader& header, std::span<const std::uint8_t> payload, Raw& raw);
  Step give(std::uint64_t number, std::uint8_t kind, std::span<const std::uint8_t> payload, Raw& raw);
  /// The rest of the block cannot be trusted.
  Step condemn();
  void next_block();
  void drop_partial();
  /// True if the file ends in this block with nothing but zeros from `at` on: so a power cut may leave it.
  [[nodiscard]] bool only_zeros_from(std::size_t at) const;

  std::unique_ptr<ByteSource> source_;
  std::vector<std::uint8_t> buffer_;
  std::uint64_t block_ = 0;  // its position in the file, in blocks
  std::size_t have_ = 0;     // bytes of it in the buffer
  std::size_t at_ = 0;       // next fragment; 0: the header comes first
  bool skipping_ = false;
  bool arriving_ = false;  // after go_to(), until a record starts
  std::optional<std::uint64_t> run_id_;
  std::uint64_t next_number_ = 0;  // of the next record to start
  std::uint64_t expected_ = 0;     // of the next record to be given
  std::uint64_t started_ = 0;      // records known to have been begun
  Partial partial_;
  Damage damage_;
  Crc32c sums_;
  std::uint32_t sums_before_ = 0;
};

}  // namespace hopbench
