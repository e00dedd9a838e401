// What a description may say: clauses of each facet that are worth a try, as traits of a table.
#pragma once

#include <span>
#include <vector>

#include "base/time.h"
#include "judge/bit_table.h"
#include "study/facets.h"

namespace hopbench {

class Clauses {
 public:
  /// With more clauses than this the facets of the highest rank go without.
  static constexpr std::size_t most = 6144;

  /// Adds to `table`, whose items are the specimens that the facets were made of. Where to cut and which values to name
  /// follows from the half that is searched. Facets without values are of bytes: theirs are in `bytes`. `block`: of
  /// time, and `gap` between exchanges: what of a counter changes more slowly than blocks is slow.
  Clauses(BitTable& table, const std::vector<Facet>& facets, const ContentFacets& bytes, bool rows, Nanos block,
          Nanos gap);

  /// Adds one more, of a facet that the constructor was given; beyond `most`, too.
  void give(const Clause& clause) { put(clause.facet, clause, (*all_facets_)[clause.facet].slow); }
  /// By trait of the table.
  [[nodiscard]] const std::vector<Clause>& all() const { return clauses_; }
  /// That have at least one clause.
  [[nodiscard]] std::size_t facets() const { return facets_with_any_; }

 private:
  void add(std::uint32_t facet, const Clause& clause, bool slow) {
    if (clauses_.size() < most) put(facet, clause, slow);
  }
  void put(std::uint32_t facet, const Clause& clause, bool slow);
  void add_names(std::uint32_t facet);
  void add_cuts(std::uint32_t facet);
  void add_bits(std::uint32_t facet);
  void add_remainders(std::uint32_t facet);
  void add_bytes(std::uint32_t facet, const ContentFacets& bytes, bool rows);
  void add_held(std::uint32_t facet, const std::vector<HeldBytes>& sets, const std::vector<bool>& counts);
  void add_places(std::uint32_t facet, const std::vector<std::vector<std::uint8_t>>& frames);

  BitTable* table_;
  const std::vector<Facet>* all_facets_;
  std::vector<Clause> clauses_;
  std::size_t facets_with_any_ = 0;
  double blocks_a_gap_ = 0;
};

}  // namespace hopbench
