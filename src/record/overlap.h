// A writer whose file failed writes what it held once more, into the next segment. Some of it may be in the first one
// all the same: a failed write can have reached the disk.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace hopbench {

/// Tells records that come again at the start of a segment from those at the end of the one before. Memory: 8 bytes for
/// each of the last 65,536 records.
class Overlap {
 public:
  /// A record that is given.
  void given(std::uint8_t kind, std::span<const std::uint8_t> payload);
  /// A segment begins. `may_repeat`: the one before was not ended in order.
  void begin_segment(bool may_repeat);
  /// Asked of each record of it in turn, before given(): is this one that was given already?
  bool repeated(std::uint8_t kind, std::span<const std::uint8_t> payload);

 private:
  static constexpr std::uint64_t remembered = 1U << 16U;
  [[nodiscard]] std::uint64_t key_at(std::uint64_t index) const { return keys_[index % remembered]; }

  std::vector<std::uint64_t> keys_;
  std::uint64_t count_ = 0;  // given so far
  std::uint64_t next_ = 0;   // the one that comes again next
  std::uint64_t until_ = 0;  // count_ when the segment began
  enum class State : std::uint8_t { none, looking, repeating } state_ = State::none;
};

}  // namespace hopbench
