// What cases are judged by, beside the evidence.
#pragma once

#include "bus/protocol.h"
#include "study/reproduce.h"
#include "study/specimens.h"

namespace hopbench {

/// Each may be null. What is pointed to must outlive whoever gets this.
struct Exhibits {
  const SpecimenFold* specimens = nullptr;  // frames and tries to compare failures with
  const Protocol* protocol = nullptr;       // of the bus; null: frames are bytes only
  const Reproduced* reproduced = nullptr;   // what mechanisms would leave on this chain, for a controller's eyes
};

}  // namespace hopbench
