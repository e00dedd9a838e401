// What is asked of each frame or try that is compared, and what a description may say of the answer.
#pragma once

#include <cstdint>
#include <limits>
#include <string>
#include <string_view>
#include <vector>

#include "bus/description.h"
#include "study/condition.h"

namespace hopbench {

enum class FacetId : std::uint8_t {
  leg,  // 0 a request, 1 a reply
  node,
  topic,
  attempt,
  hop,
  entry,
  length,
  distance,  // hops to the node asked
  node_before,
  topic_before,
  in_round,
  since_frame,
  since_exchange,
  since_node,
  held,
  condition,
  sender_heat,
  receiver_heat,
  asked_field,
  asked_byte,
  reply_byte,
  changed,  // what was replied, against the reply before
  reply_field,
  before_field,
  count,
  node_count,
  turn,
  number,
  period,  // of time
  since_start,
  hour,           // of the day, or of 24 since the start
  same_node,      // as the exchange before
  length_before,  // of the frame before on the hop
  reply_change,   // of a field, against the reply before
  frame_byte,     // anywhere in the frame, request or reply
  byte_at,        // at one place of it
  byte_pair,      // two bytes, so far apart
};

std::string_view name_of(FacetId id);

inline constexpr std::int64_t no_value = std::numeric_limits<std::int64_t>::min();

struct Facet {
  FacetId id = FacetId::leg;
  Condition condition = Condition::balancing;  // for FacetId::condition
  std::uint32_t rank = 0;
  bool slow = false;
  bool named = false;                // values are names without an order
  bool bits = false;                 // single bits may matter
  bool counts = false;               // goes up by one: remainders may matter
  std::string label;                 // of a field
  std::string known_from;            // how it is known, if not from the frame itself
  const FieldSpec* field = nullptr;  // its scale and unit
  std::vector<std::int64_t> values;  // by specimen; no_value: it has none
};

enum class Relation : std::uint8_t { is, is_not, at_most, more_than, bit_set, bit_clear, remainder, contains, phase };
std::string_view name_of(Relation relation);

/// One part of a description: what is true of a facet.
struct Clause {
  std::uint32_t facet = 0;  // index
  Relation relation = Relation::is;
  std::int64_t value = 0;    // bits: which, from 0 the lowest; phase: where it begins
  std::int64_t modulus = 0;  // remainder, phase; contains: place in the frame, from 1, or the second byte
  std::int64_t width = 0;    // phase; contains: how far on the second byte stands
};

/// What it says of a value, which must not be no_value. Bytes are told by other means.
bool holds(const Clause& clause, std::int64_t value);

}  // namespace hopbench
