#include "coexist/trial.h"

#include "coexist/trials.h"

namespace hopbench {

Trial trial_of(PromiseNumber promise, const TrialGround& ground, const KindOrder& order, bool balancing) {
  if (!ground.maker.has_addresses_for(order.size())) return {};
  switch (promise) {
    case PromiseNumber::old_answers:
      return try_old_answers(ground, order, balancing);
    case PromiseNumber::passes_on:
      return try_passes_on(ground, order, balancing);
    case PromiseNumber::old_controller:
      return try_old_controller(ground, order, balancing);
    case PromiseNumber::in_time:
      return try_in_time(ground, order, balancing);
    case PromiseNumber::room:
      return try_room(ground, order, balancing);
    case PromiseNumber::addresses:
      return try_addresses(ground, order, balancing);
    case PromiseNumber::to_everyone:
      return try_to_everyone(ground, order, balancing);
    case PromiseNumber::after_damage:
      return try_after_damage(ground, order, balancing);
    case PromiseNumber::clocks:
      return balancing ? Trial{} : try_clocks(ground, order);
    case PromiseNumber::restarts:
      return try_restarts(ground, order, balancing);
    case PromiseNumber::numbers:
      return try_numbers(ground, order, balancing);
    case PromiseNumber::cost:
      return balancing ? Trial{} : try_cost(ground, order);
    case PromiseNumber::balancing:   // the others, tried again
    case PromiseNumber::electrical:  // nothing to try
      break;
  }
  return {};
}

}  // namespace hopbench
