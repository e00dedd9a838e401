// Tests of what a search for subgroups found, on items that it did not see.
#pragma once

#include <cstdint>
#include <span>

#include "judge/bit_table.h"

namespace hopbench {

/// Chance that at least `hits_in` of `hits` trials have a trait that `others_in` of `others` others have, if hits
/// and others are alike: the one-sided exact test of R. A. Fisher (1934). Numbers need not be whole; they are rounded.
double fisher_p(double hits_in, double hits, double others_in, double others);

/// Chance that trait `tested` does not matter among the items of `left` that have the `rest` of a description,
/// looking at the half held out only.
///
/// Of a trait that changes fast each bunch of hits is one trial, and the test is exact. Of one that changes slowly
/// each block of time is one, and hits that it has more of than others are there to expect are summed by block and held
/// against their scatter (Student's t): three bad hours that happened to be warm ones are three trials.
double held_out_p(const BitTable& table, const Bits& left, std::span<const std::uint32_t> rest, std::uint32_t tested);

}  // namespace hopbench
