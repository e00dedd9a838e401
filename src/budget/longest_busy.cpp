#include "budget/longest_busy.h"

#include <algorithm>

#include "budget/by_case.h"

namespace hopbench {

Nanos longest_busy(const ProcessorSpec& processor, std::uint32_t bleeding_cells) {
  constexpr int most_rounds = 1'000;
  Nanos stretch = 0;
  for (int round = 0; round < most_rounds; ++round) {
    Nanos work = 0;
    for (const DutySpec& duty : processor.duties) {
      const Nanos takes = std::max(duty.takes, duty.takes_up_to) + duty.per_bleeding_cell * bleeding_cells;
      if (takes <= 0) continue;
      if (duty.every <= 0) return never;
      // Starts within a stretch, both ends included: one that begins as another ends goes on without a break.
      const Nanos runs = sum_of(stretch, duty.jitter) / duty.every + 1;
      work = sum_of(work, times_of(takes, static_cast<std::uint64_t>(runs)));
    }
    if (work == stretch || work == never) return work;
    stretch = work;
  }
  return never;
}

}  // namespace hopbench
