// When a link was occupied lately, as it was and as it would have been without one of the things that hold frames up.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <vector>

#include "base/archive.h"
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
  void add(const Span& span) {
    spans_[added_++ % remembered] = span;
    const auto [least, most] = std::minmax_element(span.without.begin(), span.without.end());
    held_up_ = *least != 0 || *most != 0;
    latest_ = std::max(latest_, span.end - *least);
  }
  /// When a frame that wanted to start at `at` could have, all other frames being without that holdup too. What is too
  /// long ago counts as free.
  [[nodiscard]] Nanos free_from(Nanos at, Nanos gap, std::size_t holdup) const {
    if (at >= latest_ + gap) return at;
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

  /// Something would have let the last frame come earlier.
  [[nodiscard]] bool last_held_up() const { return held_up_; }

  void keep(Archive& archive) {
    // In the order in which they were added; where in the ring they lie is nobody's business.
    std::vector<Span> spans;
    for (std::size_t i = std::min(added_, remembered); i > 0; --i) spans.push_back(spans_[(added_ - i) % remembered]);
    archive.list("occupied", spans, [&](Span& span) {
      archive.span("start", span.start);
      archive.span("end", span.end);
      for (Nanos& each : span.without) archive.span("without", each);
    });
    if (!archive.good() || !archive.restores()) return;
    added_ = 0;
    held_up_ = false;
    latest_ = long_ago;
    for (const Span& span : spans) add(span);
  }

 private:
  static constexpr std::size_t remembered = 32;
  static constexpr Nanos long_ago = -farthest_instant;
  std::array<Span, remembered> spans_;
  std::size_t added_ = 0;
  bool held_up_ = false;
  Nanos latest_ = long_ago;  // end of any of them, whatever they would have been without
};

}  // namespace hopbench
