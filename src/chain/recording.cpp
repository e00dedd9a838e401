#include "chain/recording.h"

#include <algorithm>

namespace hopbench {
namespace {

// Of a node whose cells come to rest in ever new times nobody wants to remember all.
constexpr std::size_t most_manners = 8;

}  // namespace

bool Recording::answers_after(Nanos settle) {
  if (!usable || !timed || answer_row == RecordedHop::itself) return false;
  const auto known =
      std::find_if(manners.begin(), manners.end(), [&](const Manner& each) { return each.settle == settle; });
  if (known == manners.end()) return false;
  hops[answer_row].after = known->after;
  answer.taken_at = known->taken_after == never ? never : answer.asked_at + known->taken_after;
  clocks = no_clocks;  // its instants have to be found anew
  return true;
}

void Recording::keep_manner(Nanos settle) {
  if (answer_row == RecordedHop::itself) return;
  std::erase_if(manners, [&](const Manner& each) { return each.settle == settle; });
  if (manners.size() == most_manners) manners.erase(manners.begin());
  manners.push_back(
      {settle, hops[answer_row].after, answer.taken_at == never ? never : answer.taken_at - answer.asked_at});
}

}  // namespace hopbench
