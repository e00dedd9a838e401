#include "base/noise_field.h"

#include <algorithm>
#include <array>

namespace hopbench {
namespace {

// The marks are cut into layers by octave: layer 0 holds [0, 2^20), layer l holds [2^(19+l), 2^(20+l)), so that a low
// rate has to look at the few points below it only. Each layer's axis of bits is cut into blocks in which one point is
// to be expected: 2^36 bits in layer 0, 2^(37-l) in layer l.
constexpr unsigned top_layer = 36;
constexpr unsigned layer_zero_log2 = 20;
constexpr unsigned row_log2 = 8;
static_assert((1U << row_log2) == field_row_bits);

// floor(2^64 * P(N <= k)) for a Poisson count N of mean 1, k = 0, 1, ...; beyond the table the probability is under
// 2^-64.
constexpr std::array<std::uint64_t, 21> poisson_one{
    0x5e2d58d8b3bcdf1aU, 0xbc5ab1b16779be35U, 0xeb715e1dc1582dc2U, 0xfb23979734a252f1U, 0xff1025f59174dc3dU,
    0xffd90f3ba4055e19U, 0xfffa8b71fc72c913U, 0xffff540c0914b3c9U, 0xffffed1f4aa8f120U, 0xfffffe216e641462U,
    0xffffffd4d85d3183U, 0xfffffffc6da262b4U, 0xffffffffba12d178U, 0xfffffffffb07c64cU, 0xffffffffffab8ea5U,
    0xfffffffffffabe22U, 0xffffffffffffb11aU, 0xfffffffffffffba1U, 0xffffffffffffffc5U, 0xfffffffffffffffdU,
    0xffffffffffffffffU};

unsigned count_in_block(std::uint64_t random_bits) {
  unsigned count = 0;
  while (count < poisson_one.size() && random_bits >= poisson_one[count]) ++count;
  return count;
}

struct Layer {
  unsigned number;
  [[nodiscard]] unsigned block_log2() const { return number == 0 ? 36 : 37 - number; }
  [[nodiscard]] Rate floor() const { return number == 0 ? 0 : Rate{1} << (layer_zero_log2 - 1 + number); }
  [[nodiscard]] Rate width() const { return number == 0 ? Rate{1} << layer_zero_log2 : floor(); }
};

}  // namespace

bool first_point(StreamKey row, std::uint64_t turn, std::uint32_t bit, Rate cap, std::uint64_t last_turn,
                 NoisePoint& found) {
  const std::uint64_t from = (turn << row_log2) | bit;
  std::uint64_t beyond = (std::min(last_turn, (std::uint64_t{1} << 55U) - 1) + 1)
                         << row_log2;  // no point at or after it
  bool any = false;
  cap = std::min(cap, max_rate);
  if (cap == 0) return false;
  unsigned top = top_layer;
  while (cap <= Layer{top}.floor()) --top;
  // From the densest layer down, so that what it finds bounds the search in the sparse ones. The top layer may lie
  // nearly all above the cap; the one below it comes first.
  for (unsigned down = 0; down <= top; ++down) {
    const Layer layer{top == 0 || down > 1 ? top - down : top - 1 + down};
    const unsigned log2 = layer.block_log2();
    for (std::uint64_t block = from >> log2; (block << log2) < beyond; ++block) {
      const std::uint64_t tag = static_cast<std::uint64_t>(layer.number) << 32U;
      const unsigned count = count_in_block(draw(row, block, tag));
      for (unsigned i = 0; i < count; ++i) {
        const auto bits = draw2(row, block, tag + 1 + i);
        const std::uint64_t place = (block << log2) + below(std::uint64_t{1} << log2, bits[0]);
        const Rate mark = layer.floor() + below(layer.width(), bits[1]);
        if (place < from || place >= beyond || mark >= cap) continue;
        beyond = place;
        found = {place >> row_log2, static_cast<std::uint32_t>(place & (field_row_bits - 1)), mark};
        any = true;
      }
      if ((block << log2) >= beyond) break;
    }
  }
  return any;
}

}  // namespace hopbench
