#include "record/frame_layout.h"

#include <algorithm>
#include <bit>
#include <boost/crc.hpp>
#include <cstring>

namespace hopbench {
namespace {

void put(std::uint8_t* at, std::uint64_t value, std::size_t bytes) {
  if constexpr (std::endian::native == std::endian::little) {
    std::memcpy(at, &value, bytes);
    return;
  }
  for (std::size_t i = 0; i < bytes; ++i) at[i] = static_cast<std::uint8_t>(value >> (8 * i));
}

std::uint64_t get(const std::uint8_t* at, std::size_t bytes) {
  std::uint64_t value = 0;
  if constexpr (std::endian::native == std::endian::little) {
    std::memcpy(&value, at, bytes);
    return value;
  }
  for (std::size_t i = 0; i < bytes; ++i) value |= std::uint64_t{at[i]} << (8 * i);
  return value;
}

/// Guards the length: a length that is wrong would look like a torn end of the file.
std::uint8_t head_check(std::span<const std::uint8_t> length_and_tag) {
  static const auto table = [] {
    std::array<std::uint8_t, 256> made{};
    for (unsigned byte = 0; byte < 256; ++byte) {
      boost::crc_optimal<8, 0x2f, 0, 0, false, false> crc;
      crc.process_byte(static_cast<std::uint8_t>(byte));
      made[byte] = static_cast<std::uint8_t>(crc.checksum());
    }
    return made;
  }();
  std::uint8_t crc = 0xff;
  for (const std::uint8_t byte : length_and_tag) crc = table[crc ^ byte];
  return static_cast<std::uint8_t>(crc ^ 0xffU);
}

std::uint32_t fragment_crc(std::uint64_t run_id, std::uint64_t where, std::uint64_t record,
                           std::span<const std::uint8_t, 4> rest_of_header, std::span<const std::uint8_t> payload) {
  std::array<std::uint8_t, 28> before{};
  put(before.data(), run_id, 8);
  put(before.data() + 8, where, 8);
  put(before.data() + 16, record, 8);
  std::copy_n(rest_of_header.begin(), 4, before.begin() + 24);
  return Crc32c().feed(before).feed(payload).value();
}

bool is_magic(std::span<const std::uint8_t, block_header_bytes> bytes) {
  return std::equal(block_magic.begin(), block_magic.end(), bytes.begin());
}

bool header_sum_agrees(std::span<const std::uint8_t, block_header_bytes> bytes) {
  return Crc32c().feed(bytes.first<40>()).value() == get(bytes.data() + 40, 4);
}

}  // namespace

std::array<std::uint8_t, block_header_bytes> write_block_header(const BlockHeader& header) {
  std::array<std::uint8_t, block_header_bytes> bytes{};
  std::copy(block_magic.begin(), block_magic.end(), bytes.begin());
  put(bytes.data() + 4, block_version, 2);
  put(bytes.data() + 6, block_header_bytes, 2);
  put(bytes.data() + 8, header.run_id, 8);
  put(bytes.data() + 16, header.segment, 4);
  put(bytes.data() + 20, header.block, 4);
  put(bytes.data() + 24, header.first_record, 8);
  put(bytes.data() + 32, static_cast<std::uint64_t>(header.close_floor), 8);
  put(bytes.data() + 40, Crc32c().feed(std::span(bytes).first<40>()).value(), 4);
  return bytes;
}

std::optional<BlockHeader> read_block_header(std::span<const std::uint8_t, block_header_bytes> bytes) {
  if (!is_magic(bytes) || !header_sum_agrees(bytes)) return std::nullopt;
  if (get(bytes.data() + 4, 2) != block_version || get(bytes.data() + 6, 2) != block_header_bytes) return std::nullopt;
  BlockHeader header;
  header.run_id = get(bytes.data() + 8, 8);
  header.segment = static_cast<std::uint32_t>(get(bytes.data() + 16, 4));
  header.block = static_cast<std::uint32_t>(get(bytes.data() + 20, 4));
  header.first_record = get(bytes.data() + 24, 8);
  header.close_floor = static_cast<Nanos>(get(bytes.data() + 32, 8));
  return header;
}

bool is_newer_block(std::span<const std::uint8_t, block_header_bytes> bytes) {
  return is_magic(bytes) && header_sum_agrees(bytes) && get(bytes.data() + 4, 2) > block_version;
}

std::array<std::uint8_t, fragment_header_bytes> write_fragment_header(std::uint64_t run_id, std::uint64_t where,
                                                                      std::uint64_t record, Part part, RecordKind kind,
                                                                      std::span<const std::uint8_t> payload) {
  std::array<std::uint8_t, fragment_header_bytes> bytes{};
  put(bytes.data() + 4, payload.size(), 2);
  bytes[6] = static_cast<std::uint8_t>((static_cast<unsigned>(part) << 6U) | (static_cast<unsigned>(kind) & 0x3fU));
  bytes[7] = head_check(std::span(bytes).subspan<4, 3>());
  put(bytes.data(), fragment_crc(run_id, where, record, std::span(bytes).subspan<4, 4>(), payload), 4);
  return bytes;
}

std::optional<FragmentHeader> read_fragment_header(std::span<const std::uint8_t, fragment_header_bytes> bytes) {
  if (head_check(bytes.subspan<4, 3>()) != bytes[7]) return std::nullopt;
  FragmentHeader header;
  header.crc = static_cast<std::uint32_t>(get(bytes.data(), 4));
  header.length = static_cast<std::uint16_t>(get(bytes.data() + 4, 2));
  header.part = static_cast<Part>(bytes[6] >> 6U);
  header.kind = bytes[6] & 0x3fU;
  return header;
}

bool fragment_is_good(std::uint64_t run_id, std::uint64_t where, std::uint64_t record,
                      std::span<const std::uint8_t, fragment_header_bytes> header,
                      std::span<const std::uint8_t> payload) {
  return fragment_crc(run_id, where, record, header.subspan<4, 4>(), payload) == get(header.data(), 4);
}

}  // namespace hopbench
