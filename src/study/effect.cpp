#include "study/effect.h"

#include <algorithm>
#include <set>
#include <vector>

namespace hopbench {
namespace {

/// How much of it happened while there was none of a condition, against how much was tried then.
void count_without(const Evidence& evidence, const Case& which, Condition condition, Effect& effect) {
  double tries = 0;
  double without = 0;
  for (const Moment& moment : evidence.moments) {
    const auto bin = moment.bin(condition);
    if (bin == unknown_bin) continue;
    tries += static_cast<double>(moment.tries);
    if (bin == 0) without += static_cast<double>(moment.tries);
  }
  if (tries > 0) effect.tries_without = without / tries;
  std::set<std::uint32_t> blocks;
  for (const auto i : which.incidents) {
    const Incident& incident = evidence.incidents[i];
    const auto& moment = evidence.moments[incident.moment];
    const auto bin = moment.bin(condition);
    if (bin == unknown_bin || incident.good_before <= good_within) continue;
    blocks.insert(moment.block);
    ++effect.episodes;
    if (bin == 0) ++effect.without;
  }
  // What worked loose for an hour did so once, however often it failed in it.
  if (effect.episodes > 0) {
    const double weight = std::min(1.0, static_cast<double>(blocks.size()) / effect.episodes);
    effect.episodes *= weight;
    effect.without *= weight;
  }
}

}  // namespace

Effect effect_of(const Evidence& evidence, const Case& which, Condition condition) {
  Effect effect;
  effect.unknown = !evidence.rates_known();
  effect.not_told = !evidence.is_known(condition);
  if (effect.unknown || effect.not_told) return effect;
  effect.never_held = std::none_of(evidence.moments.begin(), evidence.moments.end(), [&](const Moment& moment) {
    const auto bin = moment.bin(condition);
    return bin != 0 && bin != unknown_bin;
  });
  count_without(evidence, which, condition, effect);
  effect.alone = trend_of(tabulate(evidence, which, condition, {}));
  std::vector<Condition> others;
  if (condition != Condition::balancing) others.push_back(Condition::balancing);
  if (condition != Condition::charge) others.push_back(Condition::charge);
  effect.at_equal = trend_of(tabulate(evidence, which, condition, others));
  return effect;
}

}  // namespace hopbench
