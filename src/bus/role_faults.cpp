// Faults of roles: names that are no header field, roles that cannot be told apart.
#include <algorithm>
#include <array>
#include <set>

#include "bus/bits.h"
#include "bus/faults.h"

namespace hopbench {
namespace {

const FieldSpec* header_field(const BusDescription& bus, std::string_view name) { return field_anywhere(bus, name); }

void fits(const FieldSpec* field, std::uint64_t value, const std::string& path, Faults& faults) {
  if (field == nullptr || field->bits < 1 || field->bits > 64) return;
  const std::uint64_t limit = FieldCode::limit_of(*field);
  if (value > limit)
    faults.push_back({path, std::to_string(value) + " does not fit into " + quoted(field->name) +
                                ", whose largest value is " + std::to_string(limit)});
}

void check_names(const BusDescription& bus, Faults& faults) {
  const RolesSpec& roles = bus.roles;
  const std::array<std::pair<const char*, const std::string*>, 7> names{{{"roles.destination", &roles.destination},
                                                                         {"roles.distance", &roles.distance},
                                                                         {"roles.passes_left", &roles.passes_left},
                                                                         {"roles.source", &roles.source},
                                                                         {"roles.exchange", &roles.exchange},
                                                                         {"roles.topic", &roles.topic},
                                                                         {"roles.size", &roles.size}}};
  // Those that could play a role and play none.
  const auto free_fields = [&] {
    return header_fields(bus, [&](const FieldSpec& field) {
      const bool taken =
          std::any_of(names.begin(), names.end(), [&](const auto& each) { return *each.second == field.name; });
      return !taken && !field.constant && !field.is_signed && field.name != roles.role_field;
    });
  };
  std::set<std::string> used;
  for (const auto& [path, name] : names) {
    if (name->empty()) continue;
    const FieldSpec* field = header_field(bus, *name);
    if (field == nullptr)
      faults.push_back({path, "no header field is called " + quoted(*name) + known_names(free_fields())});
    else if (field->constant)
      faults.push_back({path, quoted(*name) + " is a constant and cannot play this role"});
    else if (field->is_signed)
      faults.push_back({path, quoted(*name) + " is signed; fields with a role are plain numbers"});
    if (!used.insert(*name).second) faults.push_back({path, quoted(*name) + " plays two roles; a field has one"});
  }
}

void check_destinations(const BusDescription& bus, Faults& faults) {
  const RolesSpec& roles = bus.roles;
  const FieldSpec* to = header_field(bus, roles.destination.empty() ? roles.distance : roles.destination);
  if (!roles.destination.empty() && !roles.distance.empty())
    faults.push_back({"roles.distance", "a frame is addressed or counted down, not both; drop one"});
  for (std::size_t i = 0; i < roles.broadcast.size(); ++i)
    fits(to, roles.broadcast[i], "roles." + at("broadcast", i), faults);
  if (!roles.broadcast.empty() && roles.destination.empty() && roles.distance.empty())
    faults.push_back({"roles.broadcast", "without a destination there is no broadcast; name the destination field"});
  if (roles.first_unenrolled) {
    fits(to, *roles.first_unenrolled, "roles.first_unenrolled", faults);
    if (roles.destination.empty())
      faults.push_back({"roles.first_unenrolled", "enrolment needs addresses; name the destination field"});
    if (std::find(roles.broadcast.begin(), roles.broadcast.end(), *roles.first_unenrolled) != roles.broadcast.end())
      faults.push_back({"roles.first_unenrolled", "this value is a broadcast address; choose another"});
    if (*roles.first_unenrolled == roles.controller_address)
      faults.push_back({"roles.first_unenrolled", "this value is the controller's address; choose another"});
  }
  if (!roles.destination.empty() || !roles.distance.empty())
    fits(to, roles.controller_address, "roles.controller_address", faults);
  if (!roles.source.empty())
    fits(header_field(bus, roles.source), roles.controller_address, "roles.controller_address", faults);
  if (!roles.distance.empty() && roles.controller_address == 0)
    faults.push_back({"roles.controller_address",
                      "distance 0 means here; give the controller a value of its own, for example the largest"});
  if (!roles.distance.empty() && std::find(roles.broadcast.begin(), roles.broadcast.end(), 0U) != roles.broadcast.end())
    faults.push_back({"roles.broadcast", "distance 0 means here and cannot be a broadcast"});
  const bool source_apart = !roles.source.empty();
  if (source_apart &&
      std::find(roles.broadcast.begin(), roles.broadcast.end(), roles.controller_address) != roles.broadcast.end())
    faults.push_back({"roles.controller_address", "the controller's address is a broadcast address; choose another"});
}

bool can_change(const FieldSpec& field) { return !field.constant; }

void check_telling(const BusDescription& bus, Faults& faults) {
  const RolesSpec& roles = bus.roles;
  const FieldSpec* field = header_field(bus, roles.role_field);
  if (roles.tell_role == TellRole::by_field) {
    if (roles.role_field.empty())
      faults.push_back(
          {"roles.role_field", "the role is told by a field; name it, or tell it by_position or by_pending_ask"});
    else if (field == nullptr)
      faults.push_back({"roles.role_field", "no header field is called " + quoted(roles.role_field) +
                                                known_names(header_fields(bus, can_change))});
    else if (field->constant)
      faults.push_back({"roles.role_field", quoted(roles.role_field) + " is a constant and cannot tell roles apart"});
    std::set<Role> seen_roles;
    std::set<std::uint64_t> seen_codes;
    for (std::size_t i = 0; i < roles.role_codes.size(); ++i) {
      const std::string path = "roles." + at("role_codes", i);
      fits(field, roles.role_codes[i].second, path, faults);
      if (!seen_roles.insert(roles.role_codes[i].first).second)
        faults.push_back({path, "this role has a code already"});
      if (!seen_codes.insert(roles.role_codes[i].second).second)
        faults.push_back({path, "this code means another role already"});
    }
    if (!seen_roles.contains(Role::ask) || !seen_roles.contains(Role::answer))
      faults.push_back({"roles.role_codes", "ask and answer need a code each"});
  } else if (!roles.role_field.empty() || !roles.role_codes.empty()) {
    faults.push_back(
        {"roles.role_field", "a role field means something only with tell_role by_field; drop it or set that"});
  }
  if (roles.refusal_mark) {
    const FieldSpec* marked = header_field(bus, roles.refusal_mark->field);
    if (marked == nullptr)
      faults.push_back({"roles.refusal_mark.field",
                        "no header field is called " + quoted(roles.refusal_mark->field) +
                            known_names(header_fields(bus, [&](const FieldSpec& each) {
                              const bool tells = roles.tell_role == TellRole::by_field && each.name == roles.role_field;
                              return can_change(each) && !tells && each.digits == Digits::binary;
                            }))});
    else if (marked->constant)
      faults.push_back(
          {"roles.refusal_mark.field", quoted(roles.refusal_mark->field) + " is a constant and cannot be marked"});
    if (roles.refusal_mark->mask == 0)
      faults.push_back({"roles.refusal_mark.mask", "a mask of 0 marks every frame; set the bits that tell a refusal"});
    if ((roles.refusal_mark->value & ~roles.refusal_mark->mask) != 0)
      faults.push_back(
          {"roles.refusal_mark.value", "the value has bits outside the mask, so nothing would ever be a refusal"});
    if (roles.refusal_mark->value == 0)
      faults.push_back(
          {"roles.refusal_mark.value", "the mark is no bit at all; a refusal must have at least one bit set"});
    if (roles.refusal_mark->field == roles.role_field && roles.tell_role == TellRole::by_field)
      faults.push_back(
          {"roles.refusal_mark.field", "the role field tells roles already; give refusal a code instead of a mark"});
    fits(marked, roles.refusal_mark->mask, "roles.refusal_mark.mask", faults);
    if (marked != nullptr && marked->digits != Digits::binary)
      faults.push_back({"roles.refusal_mark.field", "only a binary field has bits to mark"});
  }
}

/// Where no field tells them apart, what an answer's code means hangs on who looks at it.
void check_answer_codes(const BusDescription& bus, Faults& faults) {
  if (bus.roles.tell_role == TellRole::by_field) return;
  for (std::size_t i = 0; i < bus.topics.size(); ++i) {
    if (bus.topics[i].answer_code)
      faults.push_back(
          {at("topics", i) + ".answer_code",
           "answers can have a code of their own only where a field tells asks from answers; use tell_role "
           "BY_FIELD, or drop it"});
  }
}

void check_refusals(const BusDescription& bus, Faults& faults) {
  const RolesSpec& roles = bus.roles;
  check_layout(roles.refusal, "roles.refusal", nullptr, false, faults);
  const FieldSpec* code = nullptr;
  for (const LayoutItem& item : roles.refusal) {
    if (item.field && item.field->name == roles.refusal_code_field) code = &*item.field;
  }
  if (!roles.refusal_code_field.empty() && code == nullptr)
    faults.push_back({"roles.refusal_code_field", "no field of the refusal's payload is called " +
                                                      quoted(roles.refusal_code_field) +
                                                      known_names(plain_names(roles.refusal))});
  if (!roles.refusal_codes.empty() && roles.refusal_code_field.empty())
    faults.push_back({"roles.refusal_code_field", "codes need a field to stand in; name one of the refusal's payload"});
  constexpr std::array reasons{Refusal::unknown_topic, Refusal::bad_address, Refusal::bad_value, Refusal::busy,
                               Refusal::bad_check};
  std::set<std::string> seen;
  for (std::size_t i = 0; i < roles.refusal_codes.size(); ++i) {
    const std::string& reason = roles.refusal_codes[i].first;
    const std::uint64_t value = roles.refusal_codes[i].second;
    const std::string path = "roles." + at("refusal_codes", i);
    if (std::none_of(reasons.begin(), reasons.end(), [&](Refusal known) { return name_of(known) == reason; })) {
      faults.push_back(
          {path,
           quoted(reason) + " is no reason; the reasons are unknown_topic, bad_address, bad_value, busy, bad_check"});
    }
    if (!seen.insert(reason).second) faults.push_back({path, quoted(reason) + " has a code already"});
    fits(code, value, path, faults);
  }
}

}  // namespace

void check_roles(const BusDescription& bus, Faults& faults) {
  check_names(bus, faults);
  check_destinations(bus, faults);
  check_telling(bus, faults);
  check_refusals(bus, faults);
  check_answer_codes(bus, faults);
}

}  // namespace hopbench
