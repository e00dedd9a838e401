// Properties of a run, for commands that search for them or wait for them.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "measure/causes.h"
#include "measure/measures.h"
#include "seen/observation.h"
#include "text/property_terms.h"

namespace hopbench {

/// A run, as a property sees it. `causes` may be null: then none of its causes is known.
struct PropertyView {
  const RunInfo* run = nullptr;
  const Measures* measures = nullptr;
  const CauseCounts* causes = nullptr;
};

/// What a term compares: counts, or ns; and what a share of it is taken of.
struct PropertyFigure {
  std::uint64_t value = 0;
  std::uint64_t of = 0;
};
/// None where the term does not fit the run, and for a percentile of nothing.
std::optional<PropertyFigure> figure_of(const PropertyTerm& term, const PropertyView& view);

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
