#include "wires/symptom_of.h"

namespace hopbench {

Symptom symptom_of(const Finding& finding) {
  if (finding.overrun) return Symptom::overrun;
  if (finding.framing_error) return Symptom::framing;
  if (finding.parity_error) return Symptom::parity;
  switch (finding.damage) {
    case Damage::none:
      return Symptom::none;
    case Damage::too_short:
      return Symptom::too_short;
    case Damage::too_long:
      return Symptom::too_long;
    case Damage::check:
    case Damage::malformed:
      return Symptom::check;
  }
  return Symptom::check;
}

}  // namespace hopbench
