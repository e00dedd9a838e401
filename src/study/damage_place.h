// Where in their frames failures begin: at which byte, and which bit of it.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "study/case_sample.h"

namespace hopbench {

/// Most frames of a case are damaged from the same place on.
struct DamagePlace {
  std::uint32_t at = 0;         // byte on the wire, from 1; 0: wherever, and it is the bit that is the same
  bool from_end = false;        // counted from the last byte, which is 1
  std::uint64_t in = 0;         // frames
  std::uint64_t of = 0;         // of which it is known where damage begins
  std::optional<unsigned> bit;  // from 0, the lowest; told if nearly all have it
  std::uint64_t bit_in = 0;     // frames with this bit, of `in`
  double p = 1;                 // chance that so many begin at one place, each being as likely; corrected for places
};

/// Frames of which it is known where damage begins, and those that are wrong from their first byte on.
struct DamageStarts {
  std::uint64_t known = 0;
  std::uint64_t at_first = 0;
};
DamageStarts damage_starts_of(const CaseSample& sample);

/// None if damage may begin anywhere, or too little is known of it.
std::optional<DamagePlace> damage_place_of(const CaseSample& sample);
std::string sentence_of(const DamagePlace& place, bool scaled);

}  // namespace hopbench
