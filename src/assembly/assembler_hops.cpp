// Which exchange, try and leg a frame on some hop belongs to.
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

/// The leg that waits for a frame on this link, and whose frame this may be: the one that has waited longest.
Assembler::Match Assembler::expected(const Sighting& sighting) {
  Match best;
  Nanos since = never;
  const bool good = sighting.symptom == Symptom::none;
  for (const auto& each : open_) {
    Pending& pending = *each;
    for (std::size_t i = 0; i < pending.asks.size(); ++i) {
      for (const bool answering : {false, true}) {
        if (good && role_on_wire_ && (sighting.frame->role != Role::ask) != answering) continue;
        const Journey& leg = answering ? pending.answers[i] : pending.asks[i];
        const bool waits = leg.next == sighting.link || (good && leg.next == anywhere);
        if (!waits || leg.since > sighting.first_edge || leg.since >= since) continue;
        if (good && !is_of(pending, *sighting.frame, answering)) continue;
        // Damage may be of any frame; an answer is not expected before its ask has come to its node.
        if (!good && answering && pending.asks[i].next != nobody && pending.exchange.node != nobody &&
            pending.asks[i].next <= table_->answers_on(pending.exchange.node) - 1U) {
          continue;
        }
        best = {&pending, i, answering};
        since = leg.since;
      }
    }
  }
  return best;
}

void Assembler::on_its_way(const Sighting& sighting) {
  const Match match = expected(sighting);
  if (match.pending == nullptr) return;
  Pending& pending = *match.pending;
  Journey& leg = match.answering ? pending.answers[match.attempt] : pending.asks[match.attempt];
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
  leg.damaged = leg.damaged || sighting.symptom != Symptom::none;
  leg.since = sighting.first_edge;
  const std::uint16_t onward = table_->onward(sighting.link);
  leg.next = onward == nobody ? nobody : next_heard(onward);
}

}  // namespace hopbench
