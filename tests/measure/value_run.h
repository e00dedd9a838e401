// Invented runs whose answers tell of cells, and the folds of their parts.
#pragma once

#include <algorithm>
#include <vector>

#include "measure/measures.h"
#include "measure/sample_run.h"

namespace hopbench::sample {

/// As wild_run(), with cells: entries of one node may tell of the same ones.
inline Run run_with_cells(std::uint64_t seed, std::size_t events) {
  Run run = wild_run(seed, events);
  Dice dice(seed + 1000);
  for (auto& entry : run.info.entries) {
    if (dice.chance(4)) entry.node = run.info.nodes[dice.below(run.info.nodes.size())];
    entry.first_cell = static_cast<std::uint32_t>(dice.below(8));
    entry.cells = static_cast<std::uint32_t>(dice.below(6));
  }
  return run;
}

/// Events `from` up to `to` as a run of their own, with the run's end or without.
inline Measures part(const Run& run, std::size_t from, std::size_t to, bool ends) {
  MeasureFold fold;
  fold.begin(run.info);
  for (std::size_t i = from; i < to; ++i) run.tell_event(i, fold);
  if (ends) fold.end(run.until, run.lateness);
  return fold.measures();
}
inline Measures part(const Run& run, std::size_t from, std::size_t to) {
  return part(run, from, to, to == run.events.size());
}

inline Measures joined(Measures a, const Measures& b) {
  a.append(b);
  return a;
}
inline Measures merged(Measures a, const Measures& b) {
  a.merge(b);
  return a;
}

inline std::vector<std::uint8_t> bytes_of(const Measures& measures) {
  std::vector<std::uint8_t> bytes;
  measures.serialise(bytes);
  return bytes;
}

}  // namespace hopbench::sample
