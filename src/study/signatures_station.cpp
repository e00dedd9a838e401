#include <fmt/format.h>

#include <algorithm>

#include "judge/limits.h"
#include "study/weighing.h"

namespace hopbench {
namespace {

void swallowed(Weighing& scale) {
  weigh_restarts(scale);
  const auto& f = scale.f();
  scale.weigh(Mechanism::busy_node, f.balancing.rises() ? 3.5 : 1.5,
              "frames end at a station that heard them well, which had no time for them");
  scale.weigh(Mechanism::injected, f.episodes.alone * 10 >= f.episodes.count * 9 ? 2.5 : 0.5,
              "single frames end at a station that heard them well");
  scale.weigh(Mechanism::room, f.one_entry > 0.9 ? 2 : 0.5, "a station has no place to keep them in");
}

}  // namespace

void weigh_restarts(Weighing& scale) {
  const auto& f = scale.f();
  const auto& spans = f.episodes.spans;
  const bool stretches = spans.size() >= 2 && spans.back() > 0 &&
                         static_cast<double>(spans.front()) > 0.5 * static_cast<double>(spans.back());
  const bool told = f.off_starts > 0;
  double silent = scale.c().family == Family::swallowed ? 2 : f.gone + f.cut > 0.7 ? 2 : -2;
  if (f.episodes.longest < 50 * millisecond || f.clumped < 0.5) silent -= 2;
  silent += stretches ? 1.5 : 0;
  silent += told ? 2.5 : 0;
  // Mostly low when it goes off, and more so than while it is on: with a cell it rises and falls every day.
  const auto low_then = share_of(f.off_low, f.off_starts);
  const bool low = f.supply.rises() || (low_then && low_then->value >= 0.5 && low_then->low > f.low_while_on);
  const auto base = fmt::format("the station falls silent for about {}{}", words::span(f.episodes.longest),
                                told ? fmt::format(" and was seen off {}", words::counted(f.off_starts, "time")) : "");
  const bool known = f.supply.alone.tested || f.off_starts > 0;
  scale.weigh(Mechanism::supply,
              silent + (low     ? 2.5
                        : known ? -1.5
                                : 0),
              base + (low             ? "; its supply is low then"
                      : f.off_low > 0 ? "; its supply is no lower then than while it is on"
                      : known         ? "; its supply was not seen low, though a short drop would not show"
                                      : "; its supply is not known"));
  scale.weigh(Mechanism::watchdog, silent + (low ? -2 : 0), base + ", and starts again by itself");
}

void weigh_station(Weighing& scale) {
  switch (scale.c().family) {
    case Family::no_room:
      scale.weigh(Mechanism::room, 6, fmt::format("frames longer than its buffer came in {}", scale.where()));
      break;
    case Family::swallowed:
      swallowed(scale);
      break;
    case Family::changed:
      scale.weigh(
          Mechanism::injected, 4,
          fmt::format("frames were heard well {} and were bad when they left: damaged in its memory", scale.where()));
      break;
    case Family::wire:
    case Family::late:
    case Family::ignored:
      scale.weigh(Mechanism::controller, 5,
                  "every hop saw a good answer arrive in time, and the controller made nothing of it");
      break;
    case Family::refused:
      scale.weigh(Mechanism::injected, 1.5, "a node said no: to a request that was not meant for it, or changed");
      break;
    case Family::mismatched:
      scale.weigh(Mechanism::injected, 3, "a good answer to another request came: repeated, delayed or out of order");
      scale.weigh(Mechanism::measurement, 1.5, "a late answer is taken for the next one's");
      break;
    case Family::bad_value:
      scale.weigh(Mechanism::measurement, 4, "values that were accepted were old, or not those of the cells");
      scale.weigh(Mechanism::injected, 2, "a masqueraded answer would pass so");
      break;
    case Family::truncated:
      scale.weigh(Mechanism::room, 6, "more values were asked for than an answer holds");
      break;
    case Family::bad_ask:
      scale.weigh(Mechanism::controller, 6,
                  "what the controller sent was bad before it was on any hop: a wrong check or marker, half a frame, "
                  "or bytes that are no frame");
      break;
    case Family::unseen:
      break;
  }
}

}  // namespace hopbench
