// Faults of frames of several shapes.
#include <algorithm>
#include <set>

#include "bus/faults.h"
#include "bus/frame_plan.h"
#include "bus/part_names.h"

namespace hopbench {

std::size_t part_named(const BusDescription& bus, std::string_view name) {
  for (std::size_t i = 0; i < bus.parts.size(); ++i) {
    if (name_of_part(bus.parts[i]) == name) return i;
  }
  return bus.parts.size();
}

const FieldSpec* field_named(const BusDescription& bus, std::string_view name) {
  const std::size_t i = part_named(bus, name);
  return i < bus.parts.size() && bus.parts[i].field ? &*bus.parts[i].field : nullptr;
}

const FieldSpec* field_anywhere(const BusDescription& bus, std::string_view name) {
  for (std::size_t shape = 0; shape <= bus.shapes.size(); ++shape) {
    for (const PartSpec& part : parts_of(bus, shape)) {
      if (part.field && part.field->name == name) return &*part.field;
    }
  }
  return nullptr;
}

std::string parts_path(std::size_t shape) { return shape == 0 ? "parts" : at("shapes", shape - 1) + ".parts"; }

namespace {

constexpr std::size_t most_shapes = 8;

/// The constant that a shape begins with; null if it begins with none.
const FieldSpec* lead_of(const std::vector<PartSpec>& parts) {
  if (parts.empty() || !parts.front().field) return nullptr;
  const FieldSpec& field = *parts.front().field;
  return field.constant && !field.sent_only && field.bits % 8 == 0 && field.bits >= 8 ? &field : nullptr;
}

std::uint8_t first_byte(const FieldSpec& lead) {
  std::uint8_t bytes[8] = {};
  if (lead.bits <= 64) FieldCode(lead).store(bytes, 0, *lead.constant);
  return bytes[0];
}

void check_leads(const BusDescription& bus, Faults& faults) {
  std::set<std::uint8_t> leads;
  for (std::size_t shape = 0; shape <= bus.shapes.size(); ++shape) {
    const FieldSpec* lead = lead_of(parts_of(bus, shape));
    const std::string path = at(parts_path(shape), 0);
    if (lead == nullptr) {
      faults.push_back({path, "shapes are told apart by their first part; make it a constant field of whole bytes"});
    } else if (!leads.insert(first_byte(*lead)).second) {
      faults.push_back(
          {path + ".field.constant", "another shape begins with this byte too, so a receiver cannot tell them apart"});
    }
  }
}

void check_shared_fields(const BusDescription& bus, Faults& faults) {
  std::set<std::string> names;
  for (std::size_t shape = 0; shape <= bus.shapes.size(); ++shape) {
    const auto& parts = parts_of(bus, shape);
    for (std::size_t i = 0; i < parts.size(); ++i) {
      if (!parts[i].field) continue;
      const FieldSpec& field = *parts[i].field;
      names.insert(field.name);
      const FieldSpec& same = *field_anywhere(bus, field.name);
      if (field.bits == same.bits && field.digits == same.digits && field.little_endian == same.little_endian &&
          field.is_signed == same.is_signed && field.constant == same.constant && field.sent_only == same.sent_only &&
          field.in_answers == same.in_answers) {
        continue;
      }
      faults.push_back({at(parts_path(shape), i) + ".field",
                        "the field " + quoted(field.name) +
                            " of another shape is not like this one; give it another name, or describe it alike"});
    }
  }
  if (names.size() > max_header_fields)
    faults.push_back({"parts", std::to_string(names.size()) + " header fields; at most " +
                                   std::to_string(max_header_fields) + " are possible"});
}

/// What every shape must tell, by a field or by being what it is.
void check_told(const BusDescription& bus, std::size_t shape, Faults& faults) {
  const RolesSpec& roles = bus.roles;
  const ShapeSpec& spec = bus.shapes[shape - 1];
  const BusDescription one = with_one_shape(bus, shape);
  const std::string path = at("shapes", shape - 1);
  const auto has = [&](const std::string& name) { return !name.empty() && field_named(one, name) != nullptr; };
  const std::string& bound = roles.destination.empty() ? roles.distance : roles.destination;
  const bool by_field = roles.tell_role == TellRole::by_field;
  if (!spec.role && ((by_field && !has(roles.role_field)) || (!bound.empty() && !has(bound)))) {
    faults.push_back({path,
                      "nothing in frames of this shape says what they are and for whom; give it the fields of "
                      "the roles, or a role of its own"});
  }
  if (spec.role && *spec.role == Role::ask && !bound.empty() && !has(bound))
    faults.push_back({path + ".role", "an ask needs " + quoted(bound) + " to find its node; add the field"});
  if (spec.role && by_field && has(roles.role_field))
    faults.push_back({path + ".role", quoted(roles.role_field) + " tells the role already; drop role"});
  const bool has_payload = part_named(one, payload_name) < one.parts.size();
  if (has_payload && !roles.topic.empty() && !has(roles.topic))
    faults.push_back(
        {path, "nothing says what the payload is; add the field " + quoted(roles.topic) + ", or drop the payload"});
  for (const std::string& counted : {roles.passes_left, roles.distance}) {
    if (!counted.empty() && !has(counted) && bus.forward.unclaimed == Unclaimed::returns)
      faults.push_back(
          {path, "frames of this shape are never counted down and could circulate for ever; add the field " +
                     quoted(counted)});
  }
  const bool checked = std::any_of(one.parts.begin(), one.parts.end(),
                                   [](const PartSpec& part) { return part.check || part.block_check; });
  if (!checked && bus.framing.kind == FramingKind::sized && bus.framing.abandon_char_tenths == 0)
    faults.push_back({"framing.abandon_char_tenths",
                      "frames of shape " + quoted(spec.name) +
                          " have no check, so only a pause brings a receiver back in step for them; set it"});
}

}  // namespace

void check_shapes(const BusDescription& bus, Faults& faults) {
  check_shared_fields(bus, faults);
  if (bus.shapes.empty()) return;
  if (bus.shapes.size() > most_shapes)
    faults.push_back({"shapes", "a bus has at most " + std::to_string(most_shapes) + " shapes beside the first"});
  if (bus.framing.kind == FramingKind::fixed)
    faults.push_back(
        {"shapes", "frames of fixed length have one shape; use SIZED framing, whose shapes may be of any length"});
  check_leads(bus, faults);
  std::set<std::string> names;
  for (std::size_t shape = 1; shape <= bus.shapes.size(); ++shape) {
    const ShapeSpec& spec = bus.shapes[shape - 1];
    const std::string path = at("shapes", shape - 1);
    if (spec.name.empty()) faults.push_back({path + ".name", "the shape has no name; give it one"});
    if (!names.insert(spec.name).second)
      faults.push_back({path + ".name", quoted(spec.name) + " is the name of two shapes"});
    if (spec.parts.empty()) {
      faults.push_back({path, "the shape has no parts"});
      continue;
    }
    check_told(bus, shape, faults);
  }
}

}  // namespace hopbench
