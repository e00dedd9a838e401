// The facets of specimens, as columns of values.
#pragma once

#include <array>
#include <bitset>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "bus/protocol.h"
#include "study/facet.h"
#include "study/specimens.h"

namespace hopbench {

/// What is known without a look into frames. `rows`: specimens are frames on links, else tries. `told`: conditions that
/// failures were found to go with; others are not asked.
std::vector<Facet> outer_facets(const RunInfo& run, std::span<const Specimen* const> specimens, bool rows,
                                std::span<const Condition> told);

/// Values that a byte may have, which of them a frame holds.
using HeldBytes = std::bitset<256>;

/// What frames say. Fields come from the bus description; without one there are bytes only.
struct ContentFacets {
  /// Fields with more than one value, at most this many of each: what was asked, what was replied, what the plan
  /// entry's last good reply said before, and how much that has changed.
  static constexpr std::size_t most_fields = 48;

  std::vector<Facet> fields;
  std::vector<HeldBytes> asked;    // by specimen: of its request
  std::vector<HeldBytes> replied;  // of its reply; where nobody heard it as it must have been, had nothing changed
                                   // since the one before
  /// By specimen: bytes of the frame on its link, as far as they are known. Of tries none.
  std::vector<std::vector<std::uint8_t>> frames;
  std::string replies_known_from;  // how, of those that failed
};
/// `rows`: specimens are frames on links, else tries. `links`: of the chain.
ContentFacets content_facets(const Protocol* protocol, std::span<const Specimen* const> specimens, bool rows,
                             std::size_t links);

}  // namespace hopbench
