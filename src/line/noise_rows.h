// The noise field of one source on one link, row by row: where its points lie on a frame of a given name, and a memory
// of where the next one is, so that asking turn after turn costs by the points met and not by the turns.
#pragma once

#include <cstdint>
#include <unordered_map>

#include "base/luck.h"
#include "base/noise_field.h"
#include "line/identity.h"

namespace hopbench {

class NoiseRows {
 public:
  /// `cap`: the highest rate that ever holds; points above it are of no account. 0: there are none.
  NoiseRows(const Luck& luck, std::uint64_t link_hash, Purpose purpose, Rate cap)
      : luck_(luck), hash_(link_hash), purpose_(purpose), cap_(cap) {}

  /// First turn from key.turn on in which a point lies on one of the first `slots` of a frame of this name, or a turn
  /// up to which surely none does.
  [[nodiscard]] std::uint64_t clear_until(const FrameKey& key, std::uint32_t slots);

  /// Calls told(slot, mark) for each point on slots [first, end) of the frame, in rising order.
  template <class Told>
  void each(const FrameKey& key, std::uint32_t first, std::uint32_t end, Told&& told) {
    for (std::uint32_t row = first / field_row_bits; cap_ > 0 && row * field_row_bits < end; ++row) {
      const std::uint32_t begin = row * field_row_bits;
      const std::uint32_t bits = end - begin < field_row_bits ? end - begin : field_row_bits;
      std::uint32_t bit = begin < first ? first - begin : 0;
      for (;;) {
        const Known& known = next_point(key, row, bit, bits);
        if (!known.strikes || known.next.turn != key.turn || known.next.bit >= bits) break;
        const NoisePoint point = known.next;
        told(begin + point.bit, point.mark);
        bit = point.bit + 1;
      }
    }
  }

  /// The stream of a row, for whoever looks at it with a rate of its own.
  [[nodiscard]] StreamKey stream_of(const FrameKey& key, std::uint32_t row) const;

 private:
  /// What is known of a row: no point of it lies between `from` and `next`.
  struct Known {
    StreamKey row;
    std::uint64_t from_turn = 1;
    std::uint32_t from_bit = 0;
    NoisePoint next{0, 0, 0};
    bool strikes = false;    // `next` is a point; false: only as far as was looked
    std::uint32_t bits = 0;  // of the row, from its first on: points behind them are of no account
  };
  [[nodiscard]] const Known& next_point(const FrameKey& key, std::uint32_t row, std::uint32_t bit, std::uint32_t bits);

  Luck luck_;
  std::uint64_t hash_;
  Purpose purpose_;
  Rate cap_;
  std::unordered_map<std::uint64_t, Known> known_;  // by row; looked up only, never walked
};

}  // namespace hopbench
