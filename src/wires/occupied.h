// When a link was occupied lately, as it was and as it would have been without one of the things that hold frames up.
#pragma once

#include <array>
#include <cstddef>

#include "base/time.h"
#include "books/passport.h"

namespace hopbench {

class Occupied {
 public:
  struct Span {
    Nanos start = 0;
    Nanos end = 0;
    std::array<Nanos, holdup_count> without{};  // it would have been so much earlier
  };

  /// Spans come in the order in which frames went over the link.
  void add(const Span& span) { spans_[added_++ % remembered] = span; }
  /// When a frame that wanted to start at `at` could have, all other frames being without that holdup too. What is too
  /// long ago counts as free.
  [[nodiscard]] Nanos free_from(Nanos at, Nanos gap, std::size_t holdup) const {
    const std::size_t known = added_ < remembered ? added_ : remembered;
    for (std::size_t i = known; i > 0; --i) {
      const Span& span = spans_[(added_ - i) % remembered];
      const Nanos earlier = span.without[holdup];
      if (span.start - earlier <= at && at < span.end - earlier + gap) at = span.end - earlier + gap;
    }
    return at;
  }
  /// How much earlier the last frame would have been.
  [[nodiscard]] Nanos last_without(std::size_t holdup) const {
    return added_ == 0 ? 0 : spans_[(added_ - 1) % remembered].without[holdup];
  }

 private:
  static constexpr std::size_t remembered = 32;
  std::array<Span, remembered> spans_;
  std::size_t added_ = 0;
};

}  // namespace hopbench
