#include "line/noise_rows.h"

#include <algorithm>
#include <utility>

namespace hopbench {
namespace {

// How far ahead the first point of a row is looked for at once. A look costs by the number of points met, not by turns.
constexpr std::uint64_t look_ahead = 1U << 16U;

std::uint64_t row_number(const FrameKey& key, std::uint32_t row) {
  return (static_cast<std::uint64_t>(row) << 24U) | (static_cast<std::uint64_t>(key.copy) << 16U) |
         (static_cast<std::uint64_t>(key.attempt) << 8U) | (key.answering ? 1U : 0U);
}

}  // namespace

StreamKey NoiseRows::stream_of(const FrameKey& key, std::uint32_t row) const {
  return luck_.stream(name_hash(key.entry_hash, hash_), purpose_, row_number(key, row));
}

/// The first point at `bit` of key's turn or later.
const NoiseRows::Known& NoiseRows::next_point(const FrameKey& key, std::uint32_t row, std::uint32_t bit,
                                              std::uint32_t bits) {
  const auto [place, fresh] = known_.try_emplace(name_hash(row_number(key, row), key.entry_hash));
  Known& known = place->second;
  if (fresh) known.row = stream_of(key, row);
  const auto from = std::pair(known.from_turn, known.from_bit);
  const auto next = std::pair(known.next.turn, known.next.bit);
  const auto wanted = std::pair(key.turn, bit);
  if (bits <= known.bits && from <= wanted && (known.strikes ? wanted <= next : wanted < next)) return known;
  known.from_turn = key.turn;
  known.from_bit = bit;
  known.bits = bits;
  const std::uint64_t last = key.turn + look_ahead;
  NoisePoint point{key.turn, bit, 0};
  if (bit >= field_row_bits) point = {key.turn + 1, 0, 0};
  known.strikes = true;
  while (known.strikes && first_point(known.row, point.turn, point.bit, cap_, last, point)) {
    if (point.bit < bits) {
      known.next = point;
      return known;
    }
    point = {point.turn + 1, 0, 0};  // behind the frame's end
    known.strikes = point.turn <= last;
  }
  known.strikes = false;
  known.next = {last + 1, 0, 0};
  return known;
}

std::uint64_t NoiseRows::clear_until(const FrameKey& key, std::uint32_t slots) {
  std::uint64_t turn = ~std::uint64_t{0};
  if (cap_ == 0) return turn;
  for (std::uint32_t row = 0; row * field_row_bits < slots; ++row) {
    const std::uint32_t bits = std::min(field_row_bits, slots - row * field_row_bits);
    turn = std::min(turn, next_point(key, row, 0, bits).next.turn);
  }
  return turn;
}

}  // namespace hopbench
