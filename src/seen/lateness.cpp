#include "seen/lateness.h"

#include <algorithm>

namespace hopbench {
namespace {

constexpr Nanos matters = millisecond;
constexpr Nanos matters_to_an_answer = 10 * millisecond;

/// From the end of its ask until the answer of this try was with the controller by the chain's own time; none if none
/// came.
std::optional<Nanos> waited_for_answer(const ExchangeObs& exchange, std::size_t attempt, std::uint16_t home) {
  std::optional<Nanos> end;
  for (const HopRow& row : exchange.rows) {
    if (row.answering && row.attempt == attempt && row.link == home) end = std::max(end.value_or(row.end), row.end);
  }
  if (end) *end -= exchange.attempts[attempt].ask_end;
  return end;
}

/// A try that was not answered, for a reason that the computer's clock has nothing to do with.
bool is_the_chains_own(const ExchangeObs& exchange, std::size_t attempt, Cause cause, std::optional<Nanos> time_out,
                       std::uint16_t home) {
  switch (cause) {
    case Cause::none:
    case Cause::merged:  // into what a controller sent that had waited too long
    case Cause::bad_ask:
      return false;
    default:
      break;
  }
  if (exchange.attempts[attempt].outcome != Outcome::late) return true;
  const auto waited = waited_for_answer(exchange, attempt, home);
  return time_out && waited && *waited > *time_out;
}

}  // namespace

bool lateness_may_decide(const ExchangeObs& exchange, std::optional<Nanos> time_out) {
  if (exchange.port_late <= 0) return false;
  if (exchange.outcome != Outcome::answered || exchange.attempts.size() != 1) return exchange.port_late >= matters;
  if (!time_out) return exchange.port_late >= matters_to_an_answer;
  const Nanos ask_took = exchange.attempts.front().ask_end - exchange.attempts.front().start;
  return exchange.round_trip - ask_took + exchange.port_late > *time_out;
}

bool lateness_decided(const ExchangeObs& exchange, const ExchangeTruth& truth, std::optional<Nanos> time_out,
                      std::uint16_t home) {
  if (!exchange.doubtful || truth.attempts.size() != exchange.attempts.size()) return exchange.doubtful;
  for (std::size_t i = 0; i < exchange.attempts.size(); ++i) {
    const Attempt& attempt = exchange.attempts[i];
    if (attempt.outcome == Outcome::answered) {
      const Nanos waited = exchange.round_trip - (attempt.ask_end - attempt.start) + exchange.port_late;
      if (time_out ? waited > *time_out : exchange.port_late >= matters_to_an_answer) return true;
    } else if (!is_the_chains_own(exchange, i, truth.attempts[i].cause, time_out, home)) {
      return true;
    }
  }
  return false;
}

}  // namespace hopbench
