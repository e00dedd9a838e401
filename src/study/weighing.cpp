#include "study/weighing.h"

#include <fmt/format.h>

namespace hopbench {

std::size_t tied_at_top(const std::vector<Candidate>& candidates) {
  constexpr double told_apart = 1.0;  // points
  std::size_t tied = 0;
  while (tied < candidates.size() && candidates[tied].score > candidates.front().score - told_apart) ++tied;
  return tied;
}

double conditions_matter(const CaseFacts& f) {
  double points = f.link_rate > always ? 5 : 0;
  for (const auto* effect : {&f.balancing, &f.charge}) {
    if (effect->holds() || effect->unparted()) points = 3;
  }
  if (f.temperature.holds()) points = 3;
  return points;
}

std::string effect_words(const Effect& effect, const char* what, const char* others) {
  if (effect.unknown) return fmt::format("whether it goes with {} is not in a capture without healthy exchanges", what);
  if (effect.not_told) return fmt::format("whether it goes with {} is not known: nobody told it", what);
  if (effect.holds())
    return fmt::format("it rises with {} also at equal {} (p {})", what, others, words::chance(effect.at_equal.p));
  if (effect.unparted())
    return fmt::format("it rises with {} (p {}), which could not be looked at with {} equal", what,
                       words::chance(effect.alone.p), others);
  if (effect.at_equal.tested) return fmt::format("at equal {} it does not depend on {}", others, what);
  return fmt::format("whether it goes with {} could not be tested", what);
}

double effect_points(const Effect& effect) {
  if (effect.holds()) return 4;
  if (effect.unknown) return 3;
  if (effect.not_told) return 0.8;  // neither for nor much against
  if (effect.unparted()) return 1.5;
  return -4;
}

}  // namespace hopbench
