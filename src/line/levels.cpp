#include "line/levels.h"

#include <algorithm>
#include <utility>
#include <vector>

namespace hopbench {

void Levels::toggle(Nanos at) {
  if (!toggles_.empty() && toggles_.back() == at) {
    toggles_.pop_back();
  } else {
    toggles_.push_back(at);
  }
}

bool Levels::at(Nanos at) const {
  const auto after = std::upper_bound(toggles_.begin(), toggles_.end(), at);
  return (after - toggles_.begin()) % 2 == 0;
}

void Levels::force(Nanos from, Nanos to, bool high) {
  if (to <= from) return;
  // Levels on either side, leaving out toggles at the edges themselves.
  const bool before = (std::lower_bound(toggles_.begin(), toggles_.end(), from) - toggles_.begin()) % 2 == 0;
  const bool after = at(to);
  const auto first = std::lower_bound(toggles_.begin(), toggles_.end(), from);
  const auto last = std::upper_bound(toggles_.begin(), toggles_.end(), to);
  auto place = toggles_.erase(first, last);
  if (high != after) place = toggles_.insert(place, to);
  if (before != high) toggles_.insert(place, from);
}

void Levels::invert(Nanos from, Nanos to) {
  for (const Nanos at : {from, to}) {
    const auto place = std::lower_bound(toggles_.begin(), toggles_.end(), at);
    if (place != toggles_.end() && *place == at) {
      toggles_.erase(place);
    } else {
      toggles_.insert(place, at);
    }
  }
}

void Levels::forget_before(Nanos from) {
  toggles_.erase(toggles_.begin(), std::lower_bound(toggles_.begin(), toggles_.end(), from));
}

void Levels::shift(Nanos by) {
  for (Nanos& toggle : toggles_) toggle += by;
}

void Levels::stretch_lows(Nanos by) {
  if (by == 0) return;
  std::vector<Nanos> kept;
  kept.reserve(toggles_.size());
  for (std::size_t i = 0; i < toggles_.size(); ++i) {
    const bool rises = i % 2 != 0;
    const Nanos at = rises ? toggles_[i] + by : toggles_[i];
    // Of two edges that met or changed places neither is left.
    if (!kept.empty() && kept.back() >= at) {
      kept.pop_back();
    } else {
      kept.push_back(at);
    }
  }
  toggles_ = std::move(kept);
}

}  // namespace hopbench
