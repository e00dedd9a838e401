#include "study/family.h"

namespace hopbench {

Family family_of(Ending ending) {
  switch (ending) {
    case Ending::damaged:
    case Ending::cut_short:
    case Ending::nothing:
    case Ending::overrun:
      return Family::wire;
    case Ending::collided:
      return Family::collided;
    case Ending::no_room:
      return Family::no_room;
    case Ending::not_passed_on:
    case Ending::not_answered:
      return Family::swallowed;
    case Ending::changed:
      return Family::changed;
    case Ending::late:
      return Family::late;
    case Ending::ignored:
      return Family::ignored;
    case Ending::refused:
      return Family::refused;
    case Ending::mismatched:
      return Family::mismatched;
    case Ending::stale:
    case Ending::wrong:
      return Family::bad_value;
    case Ending::truncated:
      return Family::truncated;
    case Ending::bad_ask:
      return Family::bad_ask;
    case Ending::no_answer:
      break;
  }
  return Family::unseen;
}

bool on_links(Family family) { return family == Family::wire || family == Family::collided; }

}  // namespace hopbench
