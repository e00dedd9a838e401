#include "measure/causes.h"

#include <algorithm>

namespace hopbench {

void CauseCounts::merge(const CauseCounts& other) {
  known = known && other.known;
  for (std::size_t i = 0; i < tries.size(); ++i) tries[i] += other.tries[i];
  if (undetected.size() < other.undetected.size()) undetected.resize(other.undetected.size());
  for (std::size_t i = 0; i < other.undetected.size(); ++i) undetected[i] += other.undetected[i];
  if (strikes.size() < other.strikes.size()) strikes.resize(other.strikes.size());
  for (std::size_t i = 0; i < other.strikes.size(); ++i) strikes[i] += other.strikes[i];
}

void CauseFold::begin(const RunInfo& run) {
  counts_ = CauseCounts{};
  counts_.known = run.truth_known;
  counts_.undetected.resize(run.links.size());
  counts_.strikes.resize(run.faults.size());
}

void CauseFold::restart() {
  counts_.tries.fill(0);
  std::fill(counts_.undetected.begin(), counts_.undetected.end(), std::uint64_t{0});
  std::fill(counts_.strikes.begin(), counts_.strikes.end(), std::uint64_t{0});
}

void CauseFold::exchange(const ExchangeObs& obs, const ExchangeTruth* truth) {
  if (truth == nullptr) return;
  for (const auto& attempt : truth->attempts) {
    if (attempt.cause != Cause::none) ++counts_.tries[static_cast<std::size_t>(attempt.cause)];
  }
  for (const auto& strike : truth->strikes) {
    if (strike.fault < counts_.strikes.size()) ++counts_.strikes[strike.fault];
  }
  for (const auto& row : truth->rows) {
    if (!row.undetected || row.row >= obs.rows.size()) continue;
    const auto link = obs.rows[row.row].link;
    if (link < counts_.undetected.size()) ++counts_.undetected[link];
  }
}

}  // namespace hopbench
