// Properties of a run in a small language (docs/properties.md):
//
//   lost > 0 and late >= 3 at n7 and unseen > 30s
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace hopbench {

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

/// Any text whatever is read or refused. There is at least one term.
std::variant<std::vector<PropertyTerm>, PropertyError> parse_property(std::string_view text);

}  // namespace hopbench
