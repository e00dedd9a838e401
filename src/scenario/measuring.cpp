#include "scenario/measuring.h"

#include <algorithm>

namespace hopbench {

Measuring measuring(const KindSpec& kind, std::uint32_t cells, bool bleeds) {
  const MeasurementSpec& spec = kind.measurement;
  if (spec.when == MeasureWhen::free_running) return {0, spec.snapshot + spec.per_cell * kind.cells, false};
  const bool settles = spec.bleed == BleedWhile::paused || (spec.bleed == BleedWhile::paused_if_on && bleeds);
  return {(settles ? spec.settle : 0) + spec.snapshot, spec.per_cell * std::max<Nanos>(1, cells), true};
}

}  // namespace hopbench
