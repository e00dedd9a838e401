#include "record/overlap.h"

#include <algorithm>
#include <array>
#include <cstring>

#include "record/frame_layout.h"

namespace hopbench {
namespace {

/// Exchanges begin with their number and times, so a few bytes from both ends are enough to know one by.
std::uint64_t key_of(std::uint8_t kind, std::span<const std::uint8_t> payload) {
  std::array<std::uint64_t, 4> words{};
  const auto head = payload.first(std::min<std::size_t>(payload.size(), 24));
  const auto tail = payload.last(std::min<std::size_t>(payload.size(), 8));
  if (!head.empty()) std::memcpy(words.data(), head.data(), head.size());
  if (!tail.empty()) std::memcpy(&words[3], tail.data(), tail.size());
  std::uint64_t key = 0xcbf29ce484222325U ^ (std::uint64_t{kind} << 32U) ^ payload.size();
  for (const auto word : words) {
    key = (key ^ word) * 0x9e3779b97f4a7c15U;
    key ^= key >> 32U;
  }
  return key;
}

}  // namespace

void Overlap::given(std::uint8_t kind, std::span<const std::uint8_t> payload) {
  const std::uint64_t key = key_of(kind, payload);
  if (keys_.size() < remembered) {
    keys_.push_back(key);
  } else {
    keys_[count_ % remembered] = key;
  }
  ++count_;
}

void Overlap::begin_segment(bool may_repeat) {
  state_ = may_repeat && count_ > 0 ? State::looking : State::none;
  until_ = count_;
}

bool Overlap::repeated(std::uint8_t kind, std::span<const std::uint8_t> payload) {
  if (state_ == State::none) return false;
  // What the writer tells of the failure itself comes before what comes again.
  if (state_ == State::looking && kind == static_cast<std::uint8_t>(RecordKind::dropped)) return false;
  const std::uint64_t key = key_of(kind, payload);
  if (state_ == State::looking) {
    // What comes again is the end of the segment before, from some record on.
    const std::uint64_t oldest = until_ - std::min<std::uint64_t>(until_, remembered);
    next_ = until_;
    while (next_ > oldest && key_at(next_ - 1) != key) --next_;
    if (next_ == oldest) {
      state_ = State::none;
      return false;
    }
    --next_;
    state_ = State::repeating;
  }
  if (next_ < until_ && key_at(next_) == key) {
    ++next_;
    return true;
  }
  state_ = State::none;
  return false;
}

}  // namespace hopbench
