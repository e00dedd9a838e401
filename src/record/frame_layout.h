// How a capture lies in its file: sizes and check values. docs/capture-format.md is the specification; this is
// the one place in the code that knows the widths.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "base/time.h"
#include "record/crc32c.h"

namespace hopbench {

inline constexpr std::size_t block_bytes = 64 * 1024;
inline constexpr std::size_t block_header_bytes = 44;
inline constexpr std::size_t fragment_header_bytes = 8;
/// Longest record payload that is written or believed.
inline constexpr std::size_t max_record_bytes = 8 * 1024 * 1024;
inline constexpr std::array<std::uint8_t, 4> block_magic{'H', 'B', 'C', 0x1a};
inline constexpr std::uint16_t block_version = 1;

/// What a record is, told in its fragment header so that a search can pass over records without reading them.
/// At most 63. Values are stored: add, never renumber.
enum class RecordKind : std::uint8_t {
  hole = 0,  // in no file: the reader's word for records that are missing
  head = 1,
  build = 2,
  clean_exchange = 3,    // looks_healthy(): answered at the first try, every row heard well and of no copy
  touched_exchange = 4,  // any other
  stray = 5,
  arrival = 6,
  end = 7,
  tally = 8,  // from here on: since 1.1
  state = 9,
  gap = 10,
  dropped = 11,
  command = 12,
  note = 13,
};

enum class Part : std::uint8_t { whole = 0, first = 1, middle = 2, last = 3 };

struct BlockHeader {
  std::uint64_t run_id = 0;
  std::uint32_t segment = 0;
  std::uint32_t block = 0;         // position in the file, in blocks
  std::uint64_t first_record = 0;  // number of the first record that starts in this block or later
  Nanos close_floor = 0;           // no exchange or tally that starts in this block or later was closed before this
};

struct FragmentHeader {
  std::uint32_t crc = 0;
  std::uint16_t length = 0;  // of the payload that follows
  Part part = Part::whole;
  std::uint8_t kind = 0;
};

std::array<std::uint8_t, block_header_bytes> write_block_header(const BlockHeader& header);
/// None if magic, version or check do not agree.
std::optional<BlockHeader> read_block_header(std::span<const std::uint8_t, block_header_bytes> bytes);
/// True if the bytes are a block header of a version that this code does not know.
bool is_newer_block(std::span<const std::uint8_t, block_header_bytes> bytes);

/// `where`: the fragment's own position in the file. It and the record's number are in the check but not in the
/// file, so a fragment that was moved or copied is not taken for another.
std::array<std::uint8_t, fragment_header_bytes> write_fragment_header(std::uint64_t run_id, std::uint64_t where,
                                                                      std::uint64_t record, Part part, RecordKind kind,
                                                                      std::span<const std::uint8_t> payload);
/// None if the header's own check does not agree: then the length means nothing.
std::optional<FragmentHeader> read_fragment_header(std::span<const std::uint8_t, fragment_header_bytes> bytes);
/// The check over everything. `header`: as read from the file.
bool fragment_is_good(std::uint64_t run_id, std::uint64_t where, std::uint64_t record,
                      std::span<const std::uint8_t, fragment_header_bytes> header,
                      std::span<const std::uint8_t> payload);

}  // namespace hopbench
