#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "study/predictions.h"
#include "study/words.h"

namespace hopbench {
namespace {

/// What strikes at random strikes as often with a condition as without it, in proportion to what is tried.
bool at_random(Mechanism mechanism) {
  return mechanism == Mechanism::bit_noise || mechanism == Mechanism::bursts || mechanism == Mechanism::contact;
}

/// How many failures there were while there was none of the condition. This is as sure as failures are many, where a
/// trend over few charge cycles would not show.
void expect_without(Hypothesis& hypothesis, const Effect& effect, bool depends, const char* what) {
  const double z = effect.tries_without;
  constexpr double least = 0.02;  // of the tries, with or without
  if (z < least || z > 1 - least || (!depends && !at_random(hypothesis.mechanism()))) return;
  constexpr double apart = 1.7;    // odds: what is tried, and how long frames are, changes with conditions
  constexpr double astray = 0.25;  // conditions are told late
  const double odds = z / (1 - z);
  const Allowed allowed =
      depends ? Allowed{0, astray * z} : Allowed{odds / apart / (1 + odds / apart), odds * apart / (1 + odds * apart)};
  hypothesis.share(effect.without, effect.episodes, allowed,
                   fmt::format("happened without {} ({} of the tries were made then)", what, words::share(z)));
}

/// A mechanism that does not depend on a condition is rejected where failures surely do; one that comes with it, where
/// it never held. Hardly anything speaks against it where nobody knows.
void expect(Hypothesis& hypothesis, const Effect& effect, double chance, const char* what, const char* never_held) {
  const bool depends = chance > 0.8;
  if (effect.unknown) return;
  if (!effect.not_told) expect_without(hypothesis, effect, depends, what);
  if (effect.not_told || !effect.alone.tested) {
    hypothesis.never(depends && effect.never_held, never_held);
    // It takes one thing more than what needs no condition: that comes first, and no more.
    if (depends && effect.not_told) hypothesis.fact(true, 0.35, fmt::format("nobody told {}", what));
    return;
  }
  const bool borrowed = effect.at_equal.tested && !effect.holds();
  const bool rises = effect.rises() && !borrowed;
  const auto& trend = effect.at_equal.tested ? effect.at_equal : effect.alone;
  const auto text = trend.t > 0 && trend.p < 0.05
                        ? fmt::format("failures rise with {} (p {})", what, words::chance(trend.p))
                        : fmt::format("failures do not rise with {}", what);
  const bool matters = trend.t > 0 && trend.ratio > 1.4;
  const double sure = rises ? 1 : matters ? std::clamp(-std::log10(trend.p) / 3, 0.0, 1.0) : 0;
  hypothesis.likely(sure, chance, text);
  if (rises && chance < 0.05) hypothesis.tested(trend.p, text);
}

}  // namespace

void expect_conditions(Hypothesis& hypothesis, const CaseFacts& facts, GoesWith chances) {
  // Where charging and balancing never came apart, what comes with one comes with the other.
  const bool together = facts.charge.unparted() || facts.balancing.unparted();
  if (!together || chances.balancing < 0.8)
    expect(hypothesis, facts.charge, chances.charge, "the charge current", "nothing was charged");
  if (!together || chances.charge < 0.8)
    expect(hypothesis, facts.balancing, chances.balancing, "cells balancing", "no cell was balanced");
  const bool warm = together && std::max(chances.charge, chances.balancing) > 0.8;
  if (!warm) expect(hypothesis, facts.temperature, chances.temperature, "board temperature", "");
}

void expect_restarts(Hypothesis& hypothesis, const CaseFacts& f) {
  const bool supply = hypothesis.mechanism() == Mechanism::supply;
  if (f.off_told) {
    hypothesis.fact(f.off_starts > 0, 0.99,
                    f.off_starts > 0 ? fmt::format("the station went off {}", words::counted(f.off_starts, "time"))
                                     : "the station never went off");
  }
  if (hypothesis.mechanism() == Mechanism::injected) return;
  const auto low = static_cast<double>(f.off_low);
  const auto known = static_cast<double>(f.off_supplies);
  if (f.off_supplies > 0 && f.supply_varies) {
    const auto what =
        fmt::format("of the {} times it went off, its supply was as low as it is in {} of the time that it is on",
                    f.off_supplies, words::share(f.low_while_on));
    hypothesis.share(low, known, supply ? Allowed{0.6, 1} : Allowed{0, std::min(1.0, f.low_while_on + 0.25)}, what);
  } else if (f.off_supplies > 0) {
    hypothesis.fact(false, supply ? 0.9 : 0.08, "its supply was not seen low, though a short drop would not show");
  }
}

}  // namespace hopbench
