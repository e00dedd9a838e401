#include "record/block_search.h"

#include <array>

namespace hopbench {

std::optional<BlockHeader> header_at(ByteSource& source, std::uint64_t block, std::optional<std::uint64_t> run_id) {
  std::array<std::uint8_t, block_header_bytes> bytes{};
  if (source.read(block * block_bytes, bytes) != bytes.size()) return std::nullopt;
  const auto header = read_block_header(bytes);
  if (!header || header->block != block || (run_id && header->run_id != *run_id)) return std::nullopt;
  return header;
}

std::uint64_t block_for(ByteSource& source, std::uint64_t run_id, Nanos time) {
  const std::uint64_t blocks = source.size() / block_bytes + (source.size() % block_bytes == 0 ? 0 : 1);
  std::uint64_t block = last_below(blocks, time, [&](std::uint64_t at) -> std::optional<Nanos> {
    const auto header = header_at(source, at, run_id);
    return header ? std::optional(header->close_floor) : std::nullopt;
  });
  // The floor leaves out a record that began in an earlier block and goes on in this one: go back to where it begins.
  const auto header = header_at(source, block, run_id);
  if (!header) return 0;
  constexpr std::uint64_t longest_record = max_record_bytes / (block_bytes / 2);
  for (std::uint64_t steps = 0; block > 0 && steps < longest_record; ++steps) {
    --block;
    const auto before = header_at(source, block, run_id);
    if (before && before->first_record < header->first_record) break;
  }
  return block;
}

}  // namespace hopbench
