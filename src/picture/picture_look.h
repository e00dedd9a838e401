// Closer looks at a capture. Inner part of Picture: whoever wants one calls its functions.
#pragma once

#include <algorithm>
#include <limits>

#include "picture/picture.h"

namespace hopbench {

inline constexpr Nanos usual_open = 10 * second;

inline Nanos later(Nanos at, Nanos by) {
  return at > std::numeric_limits<Nanos>::max() - by ? std::numeric_limits<Nanos>::max() : at + by;
}

template <class F>
bool Picture::look(Nanos from, Nanos to, F f) {
  look_->seek(from);
  return look_on(to, f);
}

template <class F>
bool Picture::look_around(Nanos from, Nanos to, F f) {
  look_->seek_before(from);
  return look_on(to, f);
}

template <class F>
bool Picture::look_on(Nanos to, F f) {
  const Nanos past = later(to, std::max(usual_open, 2 * longest_open_));
  Record record;
  for (std::size_t count = 0; look_->next(record); ++count) {
    if (count >= most_records) return false;
    const auto time = time_of(record);
    if (time && *time > past) return true;
    if (!f(record)) return true;
  }
  return true;
}

}  // namespace hopbench
