// What is in a capture, counted.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "record/capture_reader.h"

namespace hopbench {

struct CaptureCensus {
  std::optional<CaptureHead> head;
  std::optional<BuildInfo> build;
  std::uint64_t records = 0;
  std::array<std::uint64_t, 64> kinds{};  // records by kind, also the kinds that this code does not know
  std::uint64_t exchanges = 0;
  std::array<std::uint64_t, outcome_count> outcomes{};
  std::uint64_t tallied = 0;          // exchanges in tallies
  std::uint64_t dropped_records = 0;  // that Dropped records tell of; those that a cut left out are not counted
  std::optional<Nanos> first;         // earliest start that is told
  std::optional<Nanos> last;          // last close, or the end's instant
  std::uint32_t files = 1;
  CaptureDamage damage;
};

/// Reads all that there is now. Memory: one record.
CaptureCensus census_of(CaptureReader& reader);

}  // namespace hopbench
