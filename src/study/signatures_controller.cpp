#include <fmt/format.h>

#include <algorithm>

#include "study/signatures.h"
#include "study/weighing.h"

namespace hopbench {
namespace {

void weigh_controller(Weighing& scale) {
  const auto& f = scale.f();
  const auto& c = scale.c();
  const double off = conditions_matter(f);
  const bool bunched = f.clumped > 0.1 + 2 * f.clumped_by_chance;
  const bool long_silence = f.episodes.longest_silence > 2 * second && f.episodes.most_in_silence >= 5;
  if (c.family == Family::late) {
    scale.weigh(Mechanism::measurement, 3 - (f.one_node > 0.9 ? 0 : 0.5), "answers come, after the time-out");
    scale.weigh(Mechanism::busy_node, 2.5 + (f.balancing.rises() ? 1 : 0), "answers come, after the time-out");
    scale.weigh(Mechanism::controller, 2, "answers come, after the time-out");
    scale.weigh(Mechanism::injected, 2, "answers come, after the time-out");
    return;
  }
  const std::string one = bunched ? "failures come in bunches" : "failures come one by one";
  scale.weigh(Mechanism::bit_noise, (bunched ? 1 : 3) - off - (long_silence ? 2 : 0), one);
  scale.weigh(Mechanism::bursts, (bunched ? 3 : 2.8) - off - (long_silence ? 1 : 0), one);
  scale.weigh(Mechanism::contact, (bunched ? 3 : 2.8) - off - (long_silence ? 1 : 0), one);
  scale.weigh(Mechanism::busy_node, 2.4 - off - (long_silence ? 1 : 0), one);
  scale.weigh(Mechanism::controller, 2.3 - off - (long_silence ? 1 : 0), one);
  const double overrun = f.share[static_cast<std::size_t>(Symptom::overrun)];
  if (overrun * f.n >= 2) {
    scale.weigh(Mechanism::controller, 6.5,
                fmt::format("{:.0f} % are marked as overrun at the controller itself", 100 * overrun));
  }
  scale.weigh(Mechanism::injected, 2.8 - off, one + ", and faults were put in on purpose in this run");
  const double steady = f.by_entry;
  if (steady > 0.9 && f.first_try > 0.95 && scale.e().tries > scale.e().exchanges) {
    scale.weigh(Mechanism::wake_up, 5.5, "the first try fails much of the time, and the second goes well");
  }
  if (steady > 0.9) {
    const auto why = fmt::format("{:.0f} % befell plan entries that fail much of the time, while others hardly ever do",
                                 100 * steady);
    scale.weigh(Mechanism::room, 5, why + ": their frames may be too long for some station");
    scale.weigh(Mechanism::clock, 4.5, why + ": they meet a station that others do not");
    scale.weigh(Mechanism::pulse_width, 4.2, why + ": what they say may matter");
  } else if (f.rate > 0.5) {
    scale.weigh(
        Mechanism::clock, 3.5,
        fmt::format("{:.0f} % of all tries fail: clocks too far apart would do that all the time", 100 * f.rate));
  }
  if (long_silence) {
    const auto why = fmt::format("nothing came for {} at a stretch", words::span(f.episodes.longest_silence));
    scale.weigh(Mechanism::cable, 3, why);
    scale.weigh(Mechanism::supply, 2.5 + (f.supply.rises() ? 2 : 0), why);
    scale.weigh(Mechanism::watchdog, 2.5, why);
  }
  // What couples in kills some frames, seldom all of them for long.
  const double all_gone = f.episodes.longest_silence > 60 * second && f.episodes.most_in_silence >= 50 ? 2 : 0;
  // Any battery is charged, whether its bus tells of it or not. What was seen to rise with balancing comes before it.
  const double untold = !f.charge.not_told ? 0 : f.balancing.rises() ? 0.5 : 1.5;
  scale.weigh(Mechanism::charger, effect_points(f.charge) + untold - (f.balancing.holds() ? 2 : 0) - all_gone,
              effect_words(f.charge, "charge current", "numbers of cells balancing"));
  const double cells = effect_points(f.balancing) - (f.charge.holds() ? 1 : 0);
  const auto why = effect_words(f.balancing, "cells balancing", "charge current");
  scale.weigh(Mechanism::bleed_edges, cells - all_gone, why);
  scale.weigh(Mechanism::busy_node, cells, why);
  scale.weigh(Mechanism::clock, std::max(cells, f.temperature.holds() ? 4.0 : 0.0), why);
  if (f.one_node > 0.9) {
    const auto about =
        fmt::format("only {} is concerned: it, or what only its frames meet", words::station(scale.e().run, f.node));
    if (steady <= 0.9) {
      scale.weigh(Mechanism::measurement, 2.5, about);
      scale.weigh(Mechanism::room, 2.5, about);
      scale.weigh(Mechanism::clock, 2.5, about);
    }
  }
}

}  // namespace

Judged judged_at_controller(const Evidence& evidence, const Case& which) {
  Judged out;
  const auto facts = facts_of(evidence, which);
  Weighing scale(evidence, which, facts, out.candidates);
  const auto family = which.family;
  if (family == Family::unseen || family == Family::wire || family == Family::late) {
    weigh_controller(scale);
  } else {
    weigh_station(scale);
  }
  std::stable_sort(out.candidates.begin(), out.candidates.end(),
                   [](const Candidate& a, const Candidate& b) { return a.score > b.score; });
  out.tied = tied_at_top(out.candidates);
  return out;
}

}  // namespace hopbench
