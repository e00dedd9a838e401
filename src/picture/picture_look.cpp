// Closer looks at a capture.
#include <algorithm>

#include "picture/look_times.h"
#include "picture/picture.h"

namespace hopbench {

bool Picture::look(Nanos from, Nanos to, const Visit& f) {
  look_->seek(from);
  return look_on(to, f);
}

bool Picture::look_around(Nanos from, Nanos to, const Visit& f) {
  look_->seek_before(from);
  return look_on(to, f);
}

bool Picture::look_on(Nanos to, const Visit& f) {
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
