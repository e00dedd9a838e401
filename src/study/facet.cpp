#include "study/facet.h"

namespace hopbench {

std::string_view name_of(Relation relation) {
  switch (relation) {
    case Relation::is:
      return "is";
    case Relation::is_not:
      return "is_not";
    case Relation::at_most:
      return "at_most";
    case Relation::more_than:
      return "more_than";
    case Relation::bit_set:
      return "bit_set";
    case Relation::bit_clear:
      return "bit_clear";
    case Relation::remainder:
      return "remainder";
    case Relation::contains:
      return "contains";
    case Relation::phase:
      return "phase";
  }
  return "";
}

std::string_view name_of(FacetId id) {
  switch (id) {
    case FacetId::leg:
      return "leg";
    case FacetId::node:
      return "node";
    case FacetId::topic:
      return "topic";
    case FacetId::attempt:
      return "try";
    case FacetId::hop:
      return "hop";
    case FacetId::entry:
      return "plan_entry";
    case FacetId::length:
      return "length";
    case FacetId::distance:
      return "distance";
    case FacetId::node_before:
      return "node_before";
    case FacetId::topic_before:
      return "topic_before";
    case FacetId::in_round:
      return "place_in_round";
    case FacetId::since_frame:
      return "since_frame";
    case FacetId::since_exchange:
      return "since_exchange";
    case FacetId::since_node:
      return "since_node";
    case FacetId::held:
      return "held";
    case FacetId::condition:
      return "condition";
    case FacetId::sender_heat:
      return "sender_temperature";
    case FacetId::receiver_heat:
      return "receiver_temperature";
    case FacetId::asked_field:
      return "request_field";
    case FacetId::asked_byte:
      return "request_byte";
    case FacetId::reply_byte:
      return "reply_byte";
    case FacetId::changed:
      return "reply_changed";
    case FacetId::reply_field:
      return "reply_field";
    case FacetId::before_field:
      return "field_of_reply_before";
    case FacetId::count:
      return "frame_number";
    case FacetId::node_count:
      return "number_with_node";
    case FacetId::turn:
      return "turn";
    case FacetId::number:
      return "exchange_number";
    case FacetId::period:
      return "period";
    case FacetId::since_start:
      return "since_start";
    case FacetId::hour:
      return "hour";
    case FacetId::same_node:
      return "same_node_as_before";
    case FacetId::length_before:
      return "length_of_frame_before";
    case FacetId::reply_change:
      return "change_of_reply_field";
    case FacetId::frame_byte:
      return "frame_byte";
    case FacetId::byte_at:
      return "byte_at_place";
    case FacetId::byte_pair:
      return "byte_pair";
  }
  return "";
}

bool holds(const Clause& clause, std::int64_t value) {
  const auto raw = static_cast<std::uint64_t>(value);
  switch (clause.relation) {
    case Relation::is:
      return value == clause.value;
    case Relation::is_not:
      return value != clause.value;
    case Relation::at_most:
      return value <= clause.value;
    case Relation::more_than:
      return value > clause.value;
    case Relation::bit_set:
      return (raw >> static_cast<unsigned>(clause.value) & 1U) != 0;
    case Relation::bit_clear:
      return (raw >> static_cast<unsigned>(clause.value) & 1U) == 0;
    case Relation::remainder:
      return value % clause.modulus == clause.value;
    case Relation::phase: {
      const auto past = (value % clause.modulus - clause.value + clause.modulus) % clause.modulus;
      return past < clause.width;
    }
    case Relation::contains:
      break;
  }
  return false;
}

}  // namespace hopbench
