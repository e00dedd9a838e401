#include "assembly/assembler.h"

#include <algorithm>

namespace hopbench {
namespace {

// What nobody said how long it waits is waited for this long, as common controllers do; a try may come again so long
// after the one before it.
constexpr Nanos patience = 2 * second;
constexpr Nanos least_patience = second;
constexpr Nanos time_outs_waited = 4;

bool nothing_came(Outcome outcome) {
  return outcome == Outcome::lost || outcome == Outcome::garbled || outcome == Outcome::mismatched;
}

}  // namespace

std::uint16_t Assembler::Setup::node_of(const Frame& ask) const {
  const auto to = protocol.destination(ask);
  if (!to) return addresses.size() == 1 ? 0 : nobody;
  if (!protocol.description().roles.distance.empty())
    return *to < addresses.size() ? static_cast<std::uint16_t>(*to) : nobody;
  const auto found = std::find(addresses.begin(), addresses.end(), *to);
  return found == addresses.end() ? nobody : static_cast<std::uint16_t>(found - addresses.begin());
}

Assembler::Assembler(Setup setup, AssemblyTaker& taker)
    : setup_(std::move(setup)),
      protocol_(&setup_.protocol),
      table_(&setup_.table),
      taker_(&taker),
      numbered_(!protocol_->description().roles.exchange.empty()),
      role_on_wire_(protocol_->description().roles.tell_role == TellRole::by_field) {}

// ---- what the controller sends ------------------------------------------------------------------------------

void Assembler::asked(const Sighting& sighting) {
  wait_until(sighting.first_edge);
  Pending* again = nullptr;
  if (sighting.symptom == Symptom::none) {
    again = said_to_come_again(*sighting.frame);
    if (again == nullptr) again = tried_again_by(sighting);
  }
  if (again != nullptr && again->exchange.tries.size() >= most_tries) {
    again->given_up = true;
    if (!again->decided) decide(*again, sighting.first_edge, again->outcome_so_far());
    again = nullptr;
  }
  if (again != nullptr) {
    again->decided = false;
    add_try(*again, sighting);
  } else {
    if (sighting.symptom == Symptom::none) end_waits(sighting);
    begin(sighting);
  }
  last_edge_ = std::max(last_edge_, sighting.end);
}

/// The exchange that this ask is another try of; null if it begins one.
Assembler::Pending* Assembler::tried_again_by(const Sighting& sighting) {
  for (auto place = open_.rbegin(); place != open_.rend(); ++place) {
    Pending& pending = **place;
    // A late answer may have come when the controller had given up this try, and not yet the next.
    const bool open = !pending.decided || (pending.exchange.outcome == Outcome::late && !pending.given_up);
    if (!open || !pending.read || !protocol_->same_on_its_way(pending.ask, *sighting.frame)) continue;
    if (pending.ask.role != sighting.frame->role) continue;
    if (numbered_) return &pending;
    if (asks_several_things_) return pending.decided ? nullptr : &pending;
    // Asked by a plan of one entry, the next round looks the same.
    const Nanos since = sighting.first_edge - pending.exchange.tries.back().ask_end;
    if (pending.decided || (setup_.time_out && since > 2 * *setup_.time_out)) return nullptr;
    mark_ambiguous(pending);
    return &pending;
  }
  return nullptr;
}

/// Another ask: on a bus without exchange numbers the controller has stopped waiting for the one before.
void Assembler::end_waits(const Sighting& sighting) {
  const auto named = protocol_->exchange(*sighting.frame);
  for (const auto& each : open_) {
    Pending& pending = *each;
    if (pending.next_asked_at == never) pending.next_asked_at = sighting.first_edge;
    if (pending.decided || (numbered_ && pending.named != named)) continue;
    pending.given_up = true;
    Nanos gave_up = sighting.first_edge;
    if (setup_.time_out) gave_up = std::min(gave_up, pending.exchange.tries.back().ask_end + *setup_.time_out);
    decide(pending, gave_up, pending.outcome_so_far());
  }
}

// ---- what the controller says of it -----------------------------------------------------------------------------

void Assembler::decided(Decision decision, Nanos now) {
  if (open_.empty()) return;
  Pending& pending = *open_.back();
  // What it asked last may be told already, and was then as it seemed.
  if (pending.exchange.number + 1 != next_number_ || pending.told || !pending.read) return;
  pending.told = decision != Decision::retried;
  pending.asks_again = decision == Decision::retried;
  if (decision == Decision::answered) return takes_what_came(pending, now);
  if (!pending.decided) {
    pending.given_up = true;
    return decide(pending, now, pending.outcome_so_far());
  }
  // An answer had come, and nothing was made of it.
  const Outcome seen = pending.exchange.outcome;
  if (pending.given_up || (seen != Outcome::answered && seen != Outcome::truncated)) return;
  const Outcome outcome = decision == Decision::rejected ? Outcome::mismatched : Outcome::late;
  for (AssembledTry& tried : pending.exchange.tries) {
    if (tried.outcome == seen) tried.outcome = outcome;
  }
  pending.exchange.round_trip = -1;
  decide(pending, now, outcome);
}

/// Where nothing that came looks like the answer, what came last was taken for it.
void Assembler::takes_what_came(Pending& pending, Nanos now) {
  AssembledTry& tried = pending.exchange.tries.back();
  const bool has_one = pending.decided && !pending.given_up;
  if (has_one || !last_home_ || last_home_->end <= tried.start) return;
  tried.outcome = Outcome::answered;
  tried.answered = last_home_->mark;
  pending.given_up = false;
  pending.exchange.answered = last_home_->content;
  pending.exchange.round_trip = last_home_->end - tried.start;
  decide(pending, now, Outcome::answered);
}

/// The exchange that the controller said it would ask again, whatever the ask now looks like; null if there is none.
Assembler::Pending* Assembler::said_to_come_again(const Frame& ask) {
  if (open_.empty() || !open_.back()->asks_again) return nullptr;
  Pending& pending = *open_.back();
  pending.asks_again = false;
  pending.given_up = false;
  pending.ask = ask;
  pending.named = protocol_->exchange(ask);
  return &pending;
}

/// Nothing came of any of its tries; if something damaged or wrong did, that.
Outcome Assembler::Pending::outcome_so_far() const {
  Outcome outcome = Outcome::lost;
  for (const AssembledTry& tried : exchange.tries) {
    if (tried.outcome != Outcome::lost) outcome = tried.outcome;
  }
  return outcome;
}

void Assembler::begin(const Sighting& sighting) {
  if (open_.size() >= most_open) {
    open_.front()->waiting_for = 0;
    close(*open_.front(), sighting.first_edge);
    open_.pop_front();
  }
  Pending& pending = *open_.emplace_back(std::make_unique<Pending>());
  AssembledExchange& exchange = pending.exchange;
  exchange.number = next_number_++;
  exchange.start = sighting.first_edge;
  // An answer that was still coming in when the controller asked ends later than the ask begins.
  exchange.since_last = last_edge_ < 0 ? -1 : std::max<Nanos>(0, sighting.first_edge - last_edge_);
  exchange.asked = *sighting.content;
  pending.read = sighting.symptom == Symptom::none;
  if (pending.read) {
    asks_several_things_ =
        asks_several_things_ || (last_ask_ && !protocol_->same_on_its_way(*last_ask_, *sighting.frame));
    last_ask_ = *sighting.frame;
    pending.ask = *sighting.frame;
    pending.named = protocol_->exchange(pending.ask);
    // An ask that is marked as a refusal asks for nothing, whatever its code would be without the mark.
    if (pending.ask.role != Role::refusal) exchange.topic = protocol_->topic(pending.ask).value_or(0xffffffff);
    exchange.everyone = protocol_->bound_for(pending.ask, std::nullopt) == Protocol::Bound::everyone;
    exchange.node = setup_.node_of(pending.ask);
  }
  add_try(pending, sighting);
  if (pending.read) return;
  exchange.tries.back().outcome = Outcome::bad_ask;
  decide(pending, sighting.end, Outcome::bad_ask);
}

void Assembler::add_try(Pending& pending, const Sighting& sighting) {
  AssembledTry added;
  added.start = sighting.first_edge;
  added.ask_end = sighting.end;
  added.asked = sighting.mark;
  pending.exchange.tries.push_back(added);
  pending.asks.push_back({next_heard(table_->first()), false, false, false, sighting.first_edge});
  Journey answer;
  if (pending.read && pending.exchange.node == nobody && !pending.exchange.everyone) answer.next = anywhere;
  if (pending.exchange.node != nobody) answer.next = next_heard(table_->answers_on(pending.exchange.node));
  answer.since = sighting.end;
  pending.answers.push_back(answer);
  if (setup_.told_when_over && sighting.mark != no_mark) ++pending.waiting_for;
}

void Assembler::over(std::uint64_t mark, Nanos now) {
  for (const auto& each : open_) {
    for (const AssembledTry& tried : each->exchange.tries) {
      if (tried.asked != mark || each->waiting_for == 0) continue;
      --each->waiting_for;
      wait_until(now);
      return;
    }
  }
}

void Assembler::everyone_has(std::uint64_t mark, Nanos now) {
  for (const auto& each : open_) {
    if (!each->exchange.everyone) continue;
    for (std::size_t i = 0; i < each->exchange.tries.size(); ++i) {
      if (each->exchange.tries[i].asked == mark) return decide_for_everyone(*each, i, now);
    }
  }
}

void Assembler::decide_for_everyone(Pending& pending, std::size_t attempt, Nanos now) {
  pending.exchange.tries[attempt].outcome = Outcome::answered;
  if (!pending.decided || pending.given_up) decide(pending, now, Outcome::answered);
}

// ---- what comes home ------------------------------------------------------------------------------------------

void Assembler::seen(const Sighting& sighting) {
  wait_until(sighting.first_edge);
  const Match match = on_its_way(sighting);
  if (sighting.link == table_->home()) came_home(sighting, match);
}

Frame Assembler::as_answer(const Frame& frame) const {
  Frame answer = frame;
  if (!role_on_wire_ && answer.role == Role::ask) answer.role = Role::answer;
  return answer;
}

void Assembler::came_home(const Sighting& sighting, const Match& match) {
  last_edge_ = std::max(last_edge_, sighting.end);
  last_home_ = {sighting.mark, sighting.end, *sighting.content};
  if (sighting.symptom != Symptom::none) return came_damaged(sighting);
  if (role_on_wire_ && sighting.frame->role == Role::ask) {
    if (!came_round(sighting, match)) taker_->stray(sighting);
    return;
  }
  if (take_answer(sighting, as_answer(*sighting.frame), match)) return;
  if (!role_on_wire_ && came_round(sighting, match)) return;
  does_not_fit(sighting);
  taker_->stray(sighting);
}

bool Assembler::waits(const Pending& pending, const Sighting& sighting) const {
  if (pending.decided || !pending.read || everyone_ends_there(pending)) return false;
  return !beyond_time_out(pending.exchange.tries.back(), sighting);
}

bool Assembler::beyond_time_out(const AssembledTry& tried, const Sighting& sighting) const {
  return setup_.time_out && sighting.clear_at() > tried.ask_end + *setup_.time_out;
}

/// A good answer came that is not for the ask that waits. With several that wait nobody knows which of them it is for.
void Assembler::does_not_fit(const Sighting& sighting) {
  Pending* waiting = nullptr;
  for (const auto& each : open_) {
    if (!waits(*each, sighting)) continue;
    if (waiting != nullptr) return;
    waiting = each.get();
  }
  if (waiting == nullptr) return;
  Outcome& outcome = waiting->exchange.tries.back().outcome;
  if (outcome == Outcome::lost) outcome = Outcome::mismatched;
}

/// An ask that came back to the controller. Returns false if it is nobody's.
bool Assembler::came_round(const Sighting& sighting, const Match& match) {
  for (const auto& each : open_) {
    Pending& pending = *each;
    if (!pending.read || !protocol_->same_on_its_way(pending.ask, *sighting.frame)) continue;
    if (pending.decided && !pending.given_up) continue;
    const bool followed = match.followed && !match.answering && match.pending == &pending;
    const std::size_t which = followed ? match.attempt : pending.exchange.tries.size() - 1;
    AssembledTry& tried = pending.exchange.tries[which];
    tried.came_round = true;
    if (pending.exchange.everyone) take_round(pending, which, sighting);
    return true;
  }
  return false;
}

/// What is asked of everyone is its own answer when it has come round.
void Assembler::take_round(Pending& pending, std::size_t which, const Sighting& sighting) {
  AssembledTry& tried = pending.exchange.tries[which];
  const bool late = pending.given_up || beyond_time_out(tried, sighting);
  const bool waits_again = which + 1 < pending.exchange.tries.size() && waits(pending, sighting);
  tried.outcome = late ? Outcome::late : Outcome::answered;
  if (waits_again) pending.exchange.tries.back().outcome = Outcome::answered;
  pending.exchange.round_trip = sighting.end - tried.start;
  decide(pending, sighting.end, late && !waits_again ? Outcome::late : Outcome::answered);
}

bool Assembler::fits(const Pending& pending, const Frame& answer) const {
  if (!pending.read || pending.exchange.everyone) return false;
  const auto topic = protocol_->topic(pending.ask);
  if (!topic ? protocol_->topic(answer).has_value() : !protocol_->may_answer(answer, *topic)) return false;
  if (numbered_ && protocol_->exchange(answer) != pending.named) return false;
  if (protocol_->bound_for(pending.ask, std::nullopt) == Protocol::Bound::first_unenrolled) return true;
  const RolesSpec& roles = protocol_->description().roles;
  if (!roles.distance.empty() && roles.source.empty()) return true;
  const auto sender = protocol_->source(answer);
  if (!sender) return true;
  return roles.distance.empty() ? sender == protocol_->destination(pending.ask)
                                : pending.exchange.node == nobody || sender == setup_.addresses[pending.exchange.node];
}

/// Returns false if nothing waits, or has waited, for such an answer.
bool Assembler::take_answer(const Sighting& sighting, const Frame& answer, const Match& match) {
  const bool readable = protocol_->reads_as_answer(answer);
  if (!readable && !role_on_wire_) return false;
  Pending* named = nullptr;
  std::vector<Pending*> fitting;
  for (const bool waiting : {true, false}) {
    for (const auto& each : open_) {
      Pending& pending = *each;
      if (numbered_ && pending.read && !pending.decided && pending.named == protocol_->exchange(answer))
        named = &pending;
      const bool waits = !pending.decided;
      if (waits != waiting || !fits(pending, answer)) continue;
      // One that has its answer already waits for no other, unless another try of it does.
      const bool has_it = pending.decided && !pending.given_up;
      const bool all_answered = std::none_of(pending.exchange.tries.begin(), pending.exchange.tries.end(),
                                             [](const AssembledTry& tried) { return nothing_came(tried.outcome); });
      if (has_it && all_answered) continue;
      fitting.push_back(&pending);
    }
  }
  if (fitting.empty()) {
    if (named == nullptr) return false;
    // It has the number of an exchange that asked something else, or somebody else.
    named->exchange.tries.back().outcome = Outcome::mismatched;
    named->exchange.answered = *sighting.content;
    named->exchange.tries.back().answered = sighting.mark;
    return true;
  }
  // Who gets it and who does not is in doubt for each of them.
  if (fitting.size() > 1) {
    for (Pending* each : fitting) mark_ambiguous(*each);
  }
  Pending* const best = fitting.front();
  if (!waits(*best, sighting)) does_not_fit(sighting);
  if (!readable) {
    best->exchange.tries.back().outcome = Outcome::garbled;
    best->exchange.answered = *sighting.content;
    return true;
  }
  take(*best, sighting, answer, match);
  return true;
}

/// Which of several tries this answers: of those that have no answer yet the last, unless it came sooner after that
/// than any answer of this node to this topic ever did. Marked, if an earlier one has not waited longer than any, or if
/// all have.
std::size_t Assembler::try_answered(Pending& pending, const Sighting& sighting) {
  auto& tries = pending.exchange.tries;
  const auto found = turn_around_.find({pending.exchange.node, pending.exchange.topic});
  const TurnAround known = found == turn_around_.end() ? TurnAround{1, never} : found->second;
  std::size_t chosen = tries.size();
  std::size_t earliest = tries.size();
  bool another = false;
  bool longer_than_any = false;  // then it may be any of them that was held up
  for (std::size_t i = tries.size(); i-- > 0;) {
    if (!nothing_came(tries[i].outcome)) continue;
    earliest = i;
    const Nanos took = sighting.first_edge - tries[i].ask_end;
    if (took < known.quickest) continue;
    another = another || (chosen < tries.size() && (took <= known.longest || longer_than_any));
    if (chosen < tries.size()) continue;
    chosen = i;
    longer_than_any = took > known.longest;
  }
  if (chosen == tries.size()) chosen = earliest < tries.size() ? earliest : tries.size() - 1;
  tries[chosen].ambiguous = another;
  return chosen;
}

Outcome Assembler::outcome_of(const Pending& pending, const Frame& answer) const {
  if (answer.role == Role::refusal) return Outcome::refused;
  const auto wanted = protocol_->values_asked(pending.ask);
  return wanted && protocol_->values_told(answer) < wanted->count ? Outcome::truncated : Outcome::answered;
}

void Assembler::take(Pending& pending, const Sighting& sighting, const Frame& answer, const Match& match) {
  AssembledExchange& exchange = pending.exchange;
  const bool followed = match.followed && match.answering && match.pending == &pending;
  const std::size_t which = followed ? match.attempt : try_answered(pending, sighting);
  AssembledTry& tried = exchange.tries[which];
  const Outcome outcome = outcome_of(pending, answer);
  const bool after_time_out = beyond_time_out(tried, sighting);
  if (exchange.tries.size() == 1) {
    const Nanos took = sighting.first_edge - tried.ask_end;
    TurnAround& known = turn_around_.try_emplace({exchange.node, exchange.topic}, TurnAround{took, took}).first->second;
    known.quickest = std::min(known.quickest, took);
    known.longest = std::max(known.longest, took);
  }
  if (pending.decided && !pending.given_up) {  // another try of an exchange that is over
    if (!nothing_came(tried.outcome)) return;
    tried.outcome = after_time_out ? Outcome::late : outcome;
    tried.answered = sighting.mark;
    return;
  }
  // With another try on its way the controller waits again, and takes what comes. With it that try's wait is over too.
  const bool waits_again = which + 1 < exchange.tries.size() && waits(pending, sighting);
  const bool late = after_time_out || pending.given_up;
  const bool not_taken = late && !waits_again;
  tried.outcome = not_taken || (late && outcome == Outcome::answered) ? Outcome::late : outcome;
  tried.answered = sighting.mark;
  exchange.answered = *sighting.content;
  if (waits_again) exchange.tries.back().outcome = outcome;
  exchange.round_trip = sighting.end - tried.start;
  const bool was_given_up = pending.given_up;
  pending.given_up = false;
  const Nanos decided = was_given_up ? exchange.decided : sighting.end;
  decide(pending, decided, not_taken ? Outcome::late : outcome);
}

/// Of several asks that wait the last one: those before it may have been given up.
void Assembler::came_damaged(const Sighting& sighting) {
  Pending* waiting = nullptr;
  std::size_t all = 0;
  for (const auto& each : open_) {
    if (!waits(*each, sighting)) continue;
    ++all;
    waiting = each.get();
  }
  if (waiting == nullptr) return taker_->stray(sighting);
  if (all > 1) mark_ambiguous(*waiting);
  waiting->exchange.tries.back().outcome = Outcome::garbled;
  waiting->exchange.answered = *sighting.content;
}

// ---- the end ----------------------------------------------------------------------------------------------------

void Assembler::mark_ambiguous(Pending& pending) {
  if (!pending.exchange.ambiguous) ++ambiguous_;
  pending.exchange.ambiguous = true;
}

void Assembler::decide(Pending& pending, Nanos now, Outcome outcome) {
  pending.decided = true;
  pending.exchange.decided = now;
  pending.exchange.outcome = outcome;
  if (outcome == Outcome::late) pending.exchange.round_trip = -1;  // it was not taken
}

/// When nothing can come of it any more, another try included.
Nanos Assembler::closes_at(const Pending& pending) const {
  if (pending.waiting_for > 0 || pending.asks_again) return never;
  // The controller says what became of it when it gets round to that.
  const Nanos say_by = decides_ && !pending.told && pending.decided && pending.read && pending.next_asked_at == never
                           ? pending.exchange.decided + patience
                           : 0;
  const auto& tries = pending.exchange.tries;
  const Nanos ask_end = tries.back().ask_end;
  const bool one_missing = tries.size() > 1 && std::any_of(tries.begin(), tries.end(), [](const AssembledTry& tried) {
                             return tried.answered == no_mark && !tried.came_round;
                           });
  const bool late = pending.exchange.outcome == Outcome::late;
  const bool may_come = !setup_.told_when_over && (pending.given_up || one_missing || late);
  if (pending.decided && !may_come) return std::max(pending.exchange.decided, say_by);
  if (!setup_.time_out) return ask_end + patience;
  return ask_end + std::max(time_outs_waited * *setup_.time_out, least_patience);
}

Nanos Assembler::wants_wake() const {
  Nanos first = never;
  for (const auto& each : open_) first = std::min(first, closes_at(*each));
  return first;
}

void Assembler::wait_until(Nanos now) {
  for (std::size_t i = 0; i < open_.size();) {
    if (closes_at(*open_[i]) > now) {
      ++i;
      continue;
    }
    const auto over = std::move(open_[i]);
    open_.erase(open_.begin() + static_cast<std::ptrdiff_t>(i));
    close(*over, now);
  }
}

void Assembler::close(Pending& pending, Nanos now) {
  AssembledExchange& exchange = pending.exchange;
  if (!pending.decided) {
    Outcome outcome = Outcome::lost;
    for (const AssembledTry& tried : exchange.tries) {
      if (outcome == Outcome::lost || tried.outcome == Outcome::garbled) {
        outcome = tried.outcome == Outcome::lost ? outcome : tried.outcome;
      }
    }
    Nanos decided = std::min(now, pending.next_asked_at);
    if (setup_.time_out) decided = std::min(now, exchange.tries.back().ask_end + *setup_.time_out);
    decide(pending, std::max(decided, exchange.tries.back().ask_end), outcome);
  }
  taker_->assembled(exchange);
}

void Assembler::finish(Nanos now) {
  while (!open_.empty()) {
    const auto over = std::move(open_.front());
    open_.pop_front();
    // What a controller that decides was in the middle of has no outcome.
    if (over->decided || !decides_) close(*over, now);
  }
}

}  // namespace hopbench
