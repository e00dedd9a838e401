#include "books/tap.h"

#include <utility>

#include "seen/healthy.h"

namespace hopbench {

void Tap::start_copying() {
  copying_ = true;
  copy_.exchanges = 0;
  copy_.others = 0;
  copy_.healthy = false;
}

void Tap::flush() {
  if (gathered_ == 0) return;
  const std::size_t gathered = std::exchange(gathered_, 0);
  to().again(*models_, std::span(repeats_).first(gathered));
}

void Tap::keep(const ExchangeObs& obs, const ExchangeTruth* truth) {
  ++copy_.exchanges;
  // What is told again of it has a truth, and that it is a blank one has to be known.
  copy_.healthy = truth != nullptr && healthy(obs, truth, copy_.others > 0);
  if (!copy_.healthy) return;
  copy_.attempts.assign(obs.attempts.begin(), obs.attempts.end());
  copy_.rows.assign(obs.rows.begin(), obs.rows.end());
  copy_.asked.assign(obs.asked.begin(), obs.asked.end());
  copy_.answered.assign(obs.answered.begin(), obs.answered.end());
  copy_.seen = obs;
  copy_.seen.attempts = copy_.attempts;
  copy_.seen.rows = copy_.rows;
  copy_.seen.asked = copy_.asked;
  copy_.seen.answered = copy_.answered;
  copy_.seen.replied = {};
  copy_.seen.damage = {};  // a healthy one has none
}

void Tap::exchange(const ExchangeObs& obs, const ExchangeTruth* truth) {
  flush();
  if (copying_) keep(obs, truth);
  to().exchange(obs, truth);
}

bool Tap::before_handing_on() {
  flush();
  ++copy_.others;
  return true;
}

}  // namespace hopbench
