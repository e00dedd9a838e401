// What each mechanism predicts, as figures: shares that it allows, and chances of facts. docs/predictions.md holds the
// same figures, and a test holds the two against each other.
#pragma once

#include <span>
#include <vector>

#include "study/hypothesis.h"

namespace hopbench {

/// How likely it is that failures go with a condition.
struct GoesWith {
  double charge = 0.01;
  double balancing = 0.01;
  double temperature = 0.02;
};

/// One form of a mechanism: what it does to the frames that it kills.
struct WireForm {
  Mechanism mechanism;
  Allowed gone;              // not one character heard
  Allowed cut;               // too short
  Allowed overrun;           // marked so
  Allowed framing;           // of the damaged: a stop bit hit
  Allowed check;             // of those with whole stop bits, on a line with parity: parity well, check bad
  Allowed straight;          // failed straight after another one on the hop; high < 0: by chance only
  Allowed recovered;         // the next station heard the same frame well
  Allowed rate;              // of all frames on the hop
  double long_run = 0.02;    // that nothing comes through for two seconds or more
  double content = 0.005;    // that it hangs on what is said
  double silence = 0.01;     // that it is what comes first after a silence
  double worn = 0.01;        // that it is what has come far, on several hops
  double pace = 0.003;       // that a clock at either end is off
  double ripple = 0.003;     // that it keeps step with a ripple
  double off = 0.04;         // that the receiving station was off now and then
  double everywhere = 0.05;  // that it is on several hops alike; counts only if it is so
  GoesWith with{};
};
/// A mechanism may be there in several forms.
std::vector<WireForm> wire_forms();

/// One mechanism's answers that come too late.
struct LateForm {
  Mechanism mechanism;
  Allowed at_node;    // held up at the node asked
  Allowed between;    // or at a station between
  Allowed hasty;      // given up sooner than answers take
  double only_cells;  // chance that only answers that tell of cells are late, where others are asked for
  double same;        // that all are held up for the same time
  double grows;       // that answers leave later with more cells balancing
  double longer;      // that longer answers are late more often
  double every_time;  // that an entry is late at every turn
};
std::span<const LateForm> late_forms();

}  // namespace hopbench
