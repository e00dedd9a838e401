// Properties of a run in a small language, for commands that search for them or wait for them (docs/properties.md):
//
//   lost > 0 and late >= 3 at n7 and unseen > 30s
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "measure/causes.h"
#include "measure/measures.h"
#include "seen/observation.h"

namespace hopbench {

/// A run, as a property sees it. `causes` may be null: then none of its causes is known.
struct PropertyView {
  const RunInfo* run = nullptr;
  const Measures* measures = nullptr;
  const CauseCounts* causes = nullptr;
};

enum class PropertyOperator : std::uint8_t { more, at_least, less, at_most, equal };

/// One term: a measure compared with a value.
struct PropertyTerm {
  enum class What : std::uint8_t {
    asked,
    failed,
    tries,
    outcome,        // which: Outcome
    symptom,        // which: Symptom, frames
    round_trip,     // parts_per_million of all
    unseen,         // longest span without a cell's voltage
    bursts,         // of failures
    longest_burst,  // exchanges
    undetected,     // damaged frames that passed every check (simulation)
    cause,          // which: Cause, tries (simulation)
  };
  enum class Scope : std::uint8_t { all, node, hop, into, topic };

  What what = What::asked;
  std::uint8_t which = 0;
  std::uint32_t parts_per_million = 0;
  PropertyOperator comparison = PropertyOperator::more;
  bool share = false;  // value is a share in parts of 1e15 of what there was, else a count or ns
  std::uint64_t value = 0;
  Scope scope = Scope::all;
  std::string name;  // of node, station or topic
  std::uint16_t hop = 0;
};

struct PropertyError {
  std::size_t column = 1;  // from 1, bytes
  std::string what;
};

class Property {
 public:
  /// Any text whatever is read or refused.
  static std::variant<Property, PropertyError> parse(std::string_view text);

  /// What does not fit the run: a node, topic or hop that it does not have, causes of a run that does not know them.
  [[nodiscard]] std::optional<std::string> misfit(const PropertyView& view) const;
  /// False if anything does not fit. Of nothing asked no share is known: a term with one is false then.
  [[nodiscard]] bool holds(const PropertyView& view) const;
  /// A node, hop or station that the run does not have.
  [[nodiscard]] std::optional<std::string> no_such_place(const RunInfo& run) const;
  /// The same property with hops named by the station that they lead into, so that it means the same links in a chain
  /// with fewer nodes. In a line both ways of a hop lead to other stations, so "on hop" stays one there: false is
  /// returned if a hop cannot be named so.
  [[nodiscard]] bool name_hops(const RunInfo& run);
  [[nodiscard]] const std::vector<PropertyTerm>& terms() const { return terms_; }

 private:
  std::vector<PropertyTerm> terms_;
};

}  // namespace hopbench
