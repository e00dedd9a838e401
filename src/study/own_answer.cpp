#include "study/own_answer.h"

namespace hopbench {
namespace {

/// The outcomes with which an answer was heard that is its ask's own, taken by the controller or come too late for it.
bool heard_its_answer(Outcome outcome) {
  switch (outcome) {
    case Outcome::answered:
    case Outcome::stale:
    case Outcome::wrong:
    case Outcome::truncated:
    case Outcome::late:
      return true;
    case Outcome::garbled:
    case Outcome::mismatched:
    case Outcome::refused:
    case Outcome::lost:
    case Outcome::bad_ask:
      break;
  }
  return false;
}

bool answers_topic(const Protocol& protocol, const Frame& ask, const Frame& answer) {
  const auto topic = protocol.topic(ask);
  return topic ? protocol.may_answer(answer, *topic) : !protocol.topic(answer);
}

}  // namespace

bool read_answer(const Protocol& protocol, std::span<const std::uint8_t> content, Frame& answer) {
  if (content.empty() || protocol.parse(content, answer) != Damage::none) return false;
  if (protocol.description().roles.tell_role != TellRole::by_field && answer.role == Role::ask) {
    answer.role = Role::answer;
  }
  return true;
}

bool own_answer(const Protocol& protocol, const ExchangeObs& obs, const Frame& ask, Frame& answer) {
  return !obs.ambiguous && heard_its_answer(obs.outcome) && read_answer(protocol, obs.answered, answer) &&
         answer.role == Role::answer && answers_topic(protocol, ask, answer) &&
         protocol.exchange(answer) == protocol.exchange(ask);
}

}  // namespace hopbench
