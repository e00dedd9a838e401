#include "seen/lateness.h"

namespace hopbench {
namespace {

constexpr Nanos matters = millisecond;
constexpr Nanos matters_to_an_answer = 10 * millisecond;

}  // namespace

bool lateness_may_decide(const ExchangeObs& exchange, std::optional<Nanos> time_out) {
  if (exchange.port_late <= 0) return false;
  if (exchange.outcome != Outcome::answered || exchange.attempts.size() != 1) return exchange.port_late >= matters;
  if (!time_out) return exchange.port_late >= matters_to_an_answer;
  const Nanos ask_took = exchange.attempts.front().ask_end - exchange.attempts.front().start;
  return exchange.round_trip - ask_took + exchange.port_late > *time_out;
}

}  // namespace hopbench
