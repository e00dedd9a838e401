// Which exchange, try and leg a frame on some hop belongs to.
#include <algorithm>
#include <tuple>

#include "assembly/assembler.h"

namespace hopbench {

/// From this link on the first at whose far end somebody listens.
std::uint16_t Assembler::next_heard(std::uint16_t link) const {
  while (link != nobody && !setup_.heard[link]) link = table_->onward(link);
  return link;
}

bool Assembler::is_of(const Pending& pending, const Frame& frame, bool answering) const {
  if (!pending.read) return false;
  return answering ? fits(pending, as_answer(frame)) : protocol_->same_on_its_way(pending.ask, frame);
}

/// The ask of this try has come to the node that it is for, as far as that is heard.
bool Assembler::came_to_node(const Pending& pending, std::size_t attempt) const {
  const std::uint16_t node = pending.exchange.node;
  if (node == nobody) return true;
  const std::uint16_t into = node;  // outward links are numbered as the nodes that they lead to
  return !setup_.heard[into] || pending.asks[attempt].next > into;
}

/// What a leg waited for at least, whenever there was no doubt: from where it was seen last to this link. An answer
/// that was not seen yet counts from its ask.
Assembler::Step Assembler::step_of(const Match& match, const Journey& leg, std::uint16_t link) {
  return {link, match.answering, leg.seen ? nobody : match.pending->exchange.node};
}

/// The leg that waits for a frame on this link, and whose frame this may be. Of several the latest: those before it
/// have got lost, unless it has not waited as long as any frame takes. A node answers an ask that was heard damaged
/// only if no other can have been meant.
Assembler::Match Assembler::expected(const Sighting& sighting) const {
  Match best;
  std::tuple<bool, bool, Nanos> rank;
  const bool good = sighting.symptom == Symptom::none;
  for (const auto& each : open_) {
    Pending& pending = *each;
    for (std::size_t i = 0; i < pending.asks.size(); ++i) {
      for (const bool answering : {false, true}) {
        if (good && role_on_wire_ && (sighting.frame->role != Role::ask) != answering) continue;
        const Journey& leg = answering ? pending.answers[i] : pending.asks[i];
        const bool waits_here = leg.next == sighting.link || (good && leg.next == anywhere);
        if (!waits_here || leg.since > sighting.first_edge) continue;
        if (good && !is_of(pending, *sighting.frame, answering)) continue;
        if (answering && !came_to_node(pending, i)) continue;
        if (!good && leg.taken) continue;
        Match match{&pending, i, answering, false, best.pending == nullptr};
        const auto known = quickest_step_.find(step_of(match, leg, sighting.link));
        const Nanos waited = sighting.first_edge - leg.since;
        const bool likely = !answering || !pending.asks[i].damaged;
        const bool long_enough = known == quickest_step_.end() || waited >= known->second;
        const std::tuple here{likely, long_enough, long_enough ? -waited : waited};
        if (best.pending == nullptr || here > rank) {
          best = match;
          rank = here;
        } else {
          best.alone = false;
        }
      }
    }
  }
  return best;
}

/// Asked of everyone, and nothing comes back of it: it is done when the last node has it.
bool Assembler::everyone_ends_there(const Pending& pending) const {
  return pending.exchange.everyone && !everyone_comes_round(*table_, protocol_->description());
}

/// Whose frame it is. Its leg has come as far as this.
Assembler::Match Assembler::on_its_way(const Sighting& sighting) {
  Match match = expected(sighting);
  if (match.pending == nullptr) return match;
  Pending& pending = *match.pending;
  Journey& leg = match.answering ? pending.answers[match.attempt] : pending.asks[match.attempt];
  if (match.alone && sighting.symptom == Symptom::none) {
    const Nanos waited = sighting.first_edge - leg.since;
    auto [known, fresh] = quickest_step_.try_emplace(step_of(match, leg, sighting.link), waited);
    if (!fresh) known->second = std::min(known->second, waited);
  }
  AssembledRow added;
  added.row.start = sighting.first_edge;
  added.row.end = sighting.end;
  added.row.link = sighting.link;
  added.row.chars = static_cast<std::uint16_t>(sighting.chars);
  added.row.attempt = static_cast<std::uint8_t>(match.attempt);
  added.row.answering = match.answering;
  added.row.symptom = sighting.symptom;
  added.row.inherited = leg.damaged;
  added.mark = sighting.mark;
  pending.exchange.rows.push_back(added);
  match.followed = leg.seen;
  leg.seen = true;
  leg.damaged = leg.damaged || sighting.symptom != Symptom::none;
  leg.since = sighting.first_edge;
  const std::uint16_t onward = table_->onward(sighting.link);
  leg.next = onward == nobody ? nobody : next_heard(onward);
  if (!match.answering && sighting.link == pending.exchange.node) {
    leg.taken = sighting.symptom == Symptom::none;
    pending.answers[match.attempt].since = leg.since;
  }
  const bool at_the_end = !match.answering && (*table_)[sighting.link].to == table_->last_node();
  if (at_the_end && sighting.symptom == Symptom::none && everyone_ends_there(pending)) {
    decide_for_everyone(pending, match.attempt, sighting.end);
  }
  return match;
}

}  // namespace hopbench
