#include "soak/clock_watch.h"

namespace hopbench {
namespace {

constexpr Nanos noticed = 100 * millisecond;

Nanos size_of(Nanos span) { return span < 0 ? -span : span; }

}  // namespace

void ClockCounts::keep(Archive& archive) {
  archive.number("clock sets", sets);
  archive.span("clock set by", set_by);
  archive.number("sleeps", sleeps);
  archive.span("slept", slept);
}

std::optional<ClockWatch::Event> ClockWatch::look(const ClockReading& now) {
  const Nanos passed = now.since_start - last_.since_start;
  Event event{(now.wall - last_.wall) - passed, passed - (now.steady - last_.steady)};
  last_ = now;
  if (size_of(event.set_by) < noticed) event.set_by = 0;
  if (event.slept < noticed) event.slept = 0;
  if (event.set_by == 0 && event.slept == 0) return std::nullopt;
  return event;
}

}  // namespace hopbench
