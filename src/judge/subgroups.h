// Subgroup discovery: the smallest description (a few traits that hold together) of items that are hit far more
// often than others.
//
// A beam search: descriptions of one trait, the best of these with one more, and so on. They are ranked by weighted
// relative accuracy (W. Kloesgen, "Explora", in: Advances in Knowledge Discovery and Data Mining, 1996; S. Wrobel, "An
// algorithm for multi-relational discovery of subgroups", PKDD 1997). For given totals that is the share of the hits
// that a description covers less the share of the others. Because that hardly tells a description that holds for one
// other item in a hundred from one that holds for none, as many are kept by likelihood. Half of the items are searched;
// what is found there is tested on the other half, trait by trait (judge/held_out.h).
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "judge/bit_table.h"

namespace hopbench {

struct Subgroup {
  std::vector<std::uint32_t> traits;  // of the table; at most `deepest`
  Bits covered;                       // items
  Sides in;                           // of both halves
  Sides out;
  double p = 1;  // that a trait of it does not matter, the worst one; on the half held out, corrected
};

struct Subgroups {
  /// The best first. Each is told of the hits that those before it do not cover, and of all others.
  std::vector<Subgroup> found;
  /// With none found: the best single trait on the half that was searched, if it is one that changes slowly. It is not
  /// proven.
  std::optional<Subgroup> open;
  std::uint64_t tried = 0;   // descriptions, on the half that was searched
  std::uint64_t tested = 0;  // traits, on the half that was held out
};

struct SubgroupSearch {
  static constexpr std::size_t deepest = 3;
  static constexpr std::size_t width = 24;  // of the beam, half of it by each of the two measures
  static constexpr std::size_t most = 4;    // subgroups
  /// Fewer hits than this in either half are not searched.
  static constexpr std::size_t least_hits = 6;
  /// Chance that in a table without any subgroup one is found.
  static constexpr double level = 0.01;
  /// Tests on the half held out are corrected for so many (Bonferroni), which no search makes more of.
  static constexpr double most_tests = 40;
};

Subgroups subgroups_of(const BitTable& table);

}  // namespace hopbench
