#include "support/unfolder.h"

#include <algorithm>
#include <utility>

#include "seen/healthy.h"

namespace hopbench {

std::string without_bytes(KeptExchange exchange) {
  exchange.asked.clear();
  exchange.answered.clear();
  return describe(exchange);
}

void Unfolder::exchange(const ExchangeObs& seen, const ExchangeTruth* truth) {
  Collector one;
  one.exchange(seen, truth);
  whole.push_back(describe(one.exchanges.front()));
  lines.push_back(without_bytes(one.exchanges.front()));
  if (!healthy(seen, truth, false)) {
    const auto before = std::min<std::size_t>(whole_before_, whole.size() - 1);
    too_many += static_cast<std::uint64_t>(
        std::count(whole.end() - 1 - static_cast<std::ptrdiff_t>(before), whole.end() - 1, std::string()));
  }
  if (whole_one_in_ > 0 && seen.number >= next_whole_) next_whole_ = seen.number + whole_one_in_;
}

void Unfolder::again(std::span<const ExchangeObs> models, std::span<const Repeat> repeats) {
  for (const Repeat& repeat : repeats) {
    if (repeat.number >= whole_from()) ++too_many;
    Collector one;
    const std::vector<AttemptTruth> none(models[repeat.model].attempts.size());
    const ExchangeTruth truth{{}, none, {}};
    one.exchange(models[repeat.model], &truth);
    KeptExchange& kept = one.exchanges.front();
    const Nanos later = repeat.start - kept.seen.start;
    kept.seen.number = repeat.number;
    kept.seen.turn = repeat.turn;
    kept.seen.start += later;
    kept.seen.decided += later;
    kept.seen.closed += later;
    kept.seen.since_last = repeat.since_last;
    for (Attempt& attempt : kept.attempts) {
      attempt.start += later;
      attempt.ask_end += later;
    }
    for (HopRow& row : kept.rows) {
      row.start += later;
      row.end += later;
    }
    whole.emplace_back();
    lines.push_back(without_bytes(kept));
    ++repeated;
  }
}

}  // namespace hopbench
