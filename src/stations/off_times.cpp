#include "stations/off_times.h"

#include <algorithm>

namespace hopbench {

void OffTimes::add(Nanos from, Nanos to, Cause why) {
  const auto later = std::upper_bound(times_.begin(), times_.end(), from,
                                      [](Nanos at, const Off& each) { return at < each.when.from; });
  times_.insert(later, {{from, to}, why});
}

Nanos OffTimes::ends_at(Nanos at) {
  Nanos end = never;
  for (Off& each : times_) {
    if (each.when.to == never) end = each.when.to = std::max(at, each.when.from + 1);
  }
  return end;
}

void OffTimes::forget_before(Nanos at) {
  std::erase_if(times_, [&](const Off& each) { return each.when.to < at; });
}

const OffTimes::Off* OffTimes::find(Nanos from, Nanos to) const {
  const auto found = std::find_if(times_.begin(), times_.end(),
                                  [&](const Off& each) { return each.when.from < to && each.when.to > from; });
  return found == times_.end() ? nullptr : &*found;
}

Nanos OffTimes::first_in(Nanos from, Nanos to) const {
  const Off* found = find(from, to);
  return found == nullptr ? to : std::max(from, found->when.from);
}

Cause OffTimes::why_in(Nanos from, Nanos to) const {
  const Off* found = find(from, to);
  return found == nullptr ? Cause::none : found->why;
}

bool OffTimes::starts_in(Nanos from, Nanos to, Nanos start_up) const {
  return std::any_of(times_.begin(), times_.end(), [&](const Off& each) {
    return each.when.to != never && each.when.to - start_up < to && each.when.to > from;
  });
}

void OffTimes::keep(Archive& archive) {
  archive.list("off", times_, [&](Off& each) {
    archive.span("from", each.when.from);
    archive.span_or_never("to", each.when.to);
    auto why = static_cast<std::uint8_t>(each.why);
    archive.number("why", why, std::uint8_t{0}, static_cast<std::uint8_t>(Cause::injected_reset));
    each.why = static_cast<Cause>(why);
  });
}

}  // namespace hopbench
