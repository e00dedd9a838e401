// Faults of topics: codes that collide, layouts that cannot be measured, registers that overlap.
#include <algorithm>
#include <set>

#include "bus/bits.h"
#include "bus/check_plan.h"
#include "bus/faults.h"
#include "bus/frame_plan.h"
#include "bus/layout_plan.h"

namespace hopbench {
namespace {

const FieldSpec* plain_before(const Layout& layout, std::size_t end, std::string_view name) {
  for (std::size_t i = 0; i < end && i < layout.size(); ++i) {
    if (layout[i].field && layout[i].field->name == name) return &*layout[i].field;
  }
  return nullptr;
}

/// Names of all fields of a layout, those of groups among them.
std::vector<std::string> all_names(const Layout* layout) {
  std::vector<std::string> names;
  for (std::size_t i = 0; layout != nullptr && i < layout->size(); ++i) {
    const LayoutItem& item = (*layout)[i];
    if (item.field) names.push_back(item.field->name);
    for (std::size_t f = 0; item.group && f < item.group->fields.size(); ++f) {
      names.push_back(item.group->fields[f].name);
    }
  }
  return names;
}

std::vector<std::string> groups_of(const TopicSpec& topic) {
  std::vector<std::string> names;
  for (const Layout* layout : {&topic.ask, &topic.answer}) {
    for (const LayoutItem& item : *layout) {
      if (item.group) names.push_back(item.group->name);
    }
  }
  return names;
}

bool named_anywhere(const Layout& layout, std::string_view name) {
  for (const LayoutItem& item : layout) {
    if (item.field && item.field->name == name) return true;
    if (!item.group) continue;
    for (const FieldSpec& field : item.group->fields) {
      if (field.name == name) return true;
    }
  }
  return false;
}

/// Whether what stands here can be taken for one more character of a decimal number before it.
bool may_go_on_a_number(const FieldSpec& next) {
  if (!next.constant || next.sent_only || !next.present_if.empty() || next.bits % 8 != 0 || next.varies_in_width())
    return true;
  std::uint8_t bytes[8] = {};
  FieldCode(next).store(bytes, 0, *next.constant);
  return (bytes[0] >= '0' && bytes[0] <= '9') || bytes[0] == '.' || bytes[0] == '-';
}

void check_end_of_number(const FieldSpec& number, const FieldSpec* next, const std::string& path, Faults& faults) {
  if (!number.varies_in_width() || next == nullptr || !may_go_on_a_number(*next)) return;
  faults.push_back({path + ".up_to_digits", quoted(number.name) + " ends where no digit comes, and " +
                                                quoted(next->name) +
                                                " after it may begin with one; put a constant between them, a comma "
                                                "(0x2C) for example"});
}

/// What can come right after item `i`, its own group again apart; null at the end of the payload.
const FieldSpec* first_after(const Layout& layout, std::size_t i) {
  if (i + 1 >= layout.size()) return nullptr;
  const LayoutItem& next = layout[i + 1];
  if (next.field) return &*next.field;
  return next.group && !next.group->fields.empty() ? &next.group->fields.front() : nullptr;
}

void check_numbers(const Layout& layout, const std::string& path, Faults& faults) {
  for (std::size_t i = 0; i < layout.size(); ++i) {
    const std::string here = at(path, i);
    const FieldSpec* after = first_after(layout, i);
    if (layout[i].field) check_end_of_number(*layout[i].field, after, here + ".field", faults);
    if (!layout[i].group) continue;
    const auto& fields = layout[i].group->fields;
    for (std::size_t f = 0; f < fields.size(); ++f) {
      const std::string field_path = here + ".group." + at("fields", f);
      if (f + 1 < fields.size()) {
        check_end_of_number(fields[f], &fields[f + 1], field_path, faults);
        continue;
      }
      if (layout[i].group->times != 1) check_end_of_number(fields[f], &fields.front(), field_path, faults);
      check_end_of_number(fields[f], after, field_path, faults);
    }
    // A group may be there not once: what stands before it is then followed by what stands after it.
    if (i > 0 && layout[i - 1].field && layout[i].group->times == 0)
      check_end_of_number(*layout[i - 1].field, after, at(path, i - 1) + ".field", faults);
  }
}

/// Fields that stand together, and whether they fill bytes.
struct BitRun {
  std::size_t bits = 0;
  void add(const FieldSpec& field, const std::string& path, Faults& faults) {
    if (field.little_endian && bits % 8 != 0)
      faults.push_back(
          {path + ".little_endian", "a little-endian field must start on a byte; move it or drop little_endian"});
    const bool text = field.digits == Digits::decimal_text || field.digits == Digits::hex_text;
    if (text && bits % 8 != 0)
      faults.push_back({path + ".digits", "digits as text must start on a byte; move the field"});
    if (!field.present_if.empty() && (bits % 8 != 0 || field.bits % 8 != 0))
      faults.push_back({path + ".present_if", "a conditional field must be whole bytes and start on a byte"});
    bits += field.bits;
  }
  void close(const std::string& path, Faults& faults) {
    if (bits % 8 != 0)
      faults.push_back({path, "the fields up to here make " + std::to_string(bits) +
                                  " bits; fields that stand together must fill whole bytes"});
    bits = 0;
  }
};

void check_group(const Layout& layout, std::size_t i, const std::string& path, const Layout* ask, Faults& faults) {
  const GroupSpec& group = *layout[i].group;
  if (group.name.empty()) faults.push_back({path + ".name", "the group has no name; give it one"});
  const int measures = (group.times != 0 ? 1 : 0) + (group.count_field.empty() ? 0 : 1) + (group.to_end ? 1 : 0);
  if (measures != 1)
    faults.push_back({path,
                      "a group repeats a fixed number of times, or as a count field says, or to the end; set exactly "
                      "one of times, count_field, to_end"});
  if (group.times > 8 * max_frame_bytes)
    faults.push_back({path + ".times", "no frame is long enough for so many repetitions"});
  if (group.to_end && i + 1 != layout.size())
    faults.push_back({path + ".to_end", "only the last item can go on to the end"});
  if (!group.count_field.empty()) {
    const FieldSpec* count = plain_before(layout, i, group.count_field);
    if (count == nullptr)
      faults.push_back({path + ".count_field", "no earlier field of this layout is called " +
                                                   quoted(group.count_field) + known_names(plain_names(layout, i))});
    else if (count->is_signed)
      faults.push_back({path + ".count_field", quoted(group.count_field) + " is signed; a count is not"});
  }
  if (group.fields.empty()) faults.push_back({path + ".fields", "the group has no fields"});
  if (group.fields.size() > max_group_fields)
    faults.push_back({path + ".fields", "a group has at most " + std::to_string(max_group_fields) + " fields"});
  BitRun run;
  bool always = false;
  std::set<std::string> names;
  for (std::size_t f = 0; f < group.fields.size(); ++f) {
    const FieldSpec& field = group.fields[f];
    const std::string here = path + "." + at("fields", f);
    check_field(field, here, faults);
    run.add(field, here, faults);
    always = always || field.present_if.empty();
    if (!field.present_if.empty() && !names.contains(field.present_if) &&
        plain_before(layout, i, field.present_if) == nullptr) {
      faults.push_back({here + ".present_if", "no earlier field is called " + quoted(field.present_if) +
                                                  known_names(plain_names(layout, i))});
    }
    if (!field.copied_from_ask.empty() && (ask == nullptr || !named_anywhere(*ask, field.copied_from_ask))) {
      faults.push_back({here + ".copied_from_ask", "no field of the ask is called " + quoted(field.copied_from_ask) +
                                                       known_names(all_names(ask))});
    }
    if (!names.insert(field.name).second)
      faults.push_back({here + ".name", quoted(field.name) + " is the name of two fields"});
  }
  run.close(path + ".fields", faults);
  if (group.to_end && !always)
    faults.push_back({path + ".fields",
                      "a group that goes to the end needs a field that is always there, or it cannot be measured"});
}

void check_registers(const BusDescription& bus, Faults& faults) {
  for (std::size_t i = 0; i < bus.registers.size(); ++i) {
    const RegisterSpec& shown = bus.registers[i];
    const std::string path = at("registers", i);
    if (shown.count == 0) faults.push_back({path + ".count", "a span of registers has at least one"});
    if (shown.quantity.empty()) faults.push_back({path + ".quantity", "the registers show nothing; name a quantity"});
    if (shown.scale.den == 0)
      faults.push_back({path + ".scale.den", "a scale cannot divide by 0; 1 means no division"});
    if (shown.scale.num == 0)
      faults.push_back({path + ".scale.num", "a scale of 0 loses every value; 1 means no factor"});
    const std::uint64_t end = std::uint64_t{shown.first} + shown.count;
    for (std::size_t other = 0; other < i; ++other) {
      const RegisterSpec& earlier = bus.registers[other];
      if (shown.first < std::uint64_t{earlier.first} + earlier.count && earlier.first < end) {
        faults.push_back(
            {path + ".first", "these registers overlap those from " + std::to_string(earlier.first) + " on"});
      }
    }
  }
}

/// The least payload bytes of a layout, conditional fields and counted groups left out.
std::size_t least_bits(const Layout& layout) {
  std::size_t bits = 0;
  for (const LayoutItem& item : layout) {
    if (item.field && item.field->present_if.empty()) bits += FieldCode(*item.field).least_bits();
    if (!item.group) continue;
    for (const FieldSpec& field : item.group->fields) {
      if (field.present_if.empty()) bits += std::size_t{item.group->times} * FieldCode(field).least_bits();
    }
  }
  return bits;
}

void check_measuring(const TopicSpec& topic, const std::string& path, bool registers, Faults& faults) {
  const auto ask_field = [&](const std::string& name, const char* leaf) {
    if (!name.empty() && plain_before(topic.ask, topic.ask.size(), name) == nullptr)
      faults.push_back(
          {path + leaf, "no field of the ask is called " + quoted(name) + known_names(plain_names(topic.ask))});
  };
  ask_field(topic.first_field, ".first_field");
  ask_field(topic.count_field, ".count_field");
  if (topic.values_group.empty()) {
    if (!topic.count_field.empty() || !topic.first_field.empty())
      faults.push_back({path + ".values_group", "first_field and count_field measure out a group; name it"});
    return;
  }
  const auto is_group = [&](const LayoutItem& item) { return item.group && item.group->name == topic.values_group; };
  const auto in_ask = std::find_if(topic.ask.begin(), topic.ask.end(), is_group);
  const auto in_answer = std::find_if(topic.answer.begin(), topic.answer.end(), is_group);
  if (in_ask == topic.ask.end() && in_answer == topic.answer.end()) {
    faults.push_back({path + ".values_group", "no group of the ask or the answer is called " +
                                                  quoted(topic.values_group) + known_names(groups_of(topic))});
    return;
  }
  const GroupSpec& group = in_ask != topic.ask.end() ? *in_ask->group : *in_answer->group;
  if (group.times > 1 && !topic.count_field.empty())
    faults.push_back({path + ".count_field", "the group has a fixed number of repetitions; drop count_field or times"});
  const bool by_register = std::any_of(group.fields.begin(), group.fields.end(), [](const FieldSpec& field) {
    return field.quantity.empty() && !field.constant && field.copied_from_ask.empty();
  });
  if (by_register && !registers)
    faults.push_back({"registers", "topic " + quoted(topic.name) + " shows registers, but none are described"});
  if (by_register && topic.first_field.empty())
    faults.push_back(
        {path + ".first_field", "registers are asked for by number; name the ask's field that holds the first"});
}

}  // namespace

std::vector<std::string> plain_names(const Layout& layout, std::size_t end) {
  std::vector<std::string> names;
  for (std::size_t i = 0; i < std::min(end, layout.size()); ++i) {
    if (layout[i].field) names.push_back(layout[i].field->name);
  }
  return names;
}

void check_layout(const Layout& layout, const std::string& path, const Layout* ask, bool groups_allowed,
                  Faults& faults) {
  if (layout.size() > max_layout_items) {
    faults.push_back({path, "a layout has at most " + std::to_string(max_layout_items) + " items"});
    return;
  }
  BitRun run;
  std::set<std::string> names;
  for (std::size_t i = 0; i < layout.size(); ++i) {
    const LayoutItem& item = layout[i];
    const std::string here = at(path, i);
    if (item.field.has_value() == item.group.has_value()) {
      faults.push_back({here, "an item is either a field or a group"});
      continue;
    }
    if (!names.insert(item.field ? item.field->name : item.group->name).second)
      faults.push_back(
          {here, "the name " + quoted(item.field ? item.field->name : item.group->name) + " is taken in this layout"});
    if (item.group) {
      run.close(here, faults);
      if (!groups_allowed)
        faults.push_back({here + ".group", "a refusal has plain fields only"});
      else
        check_group(layout, i, here + ".group", ask, faults);
      continue;
    }
    const FieldSpec& field = *item.field;
    check_field(field, here + ".field", faults);
    run.add(field, here + ".field", faults);
    if (!field.present_if.empty() && !groups_allowed)
      faults.push_back({here + ".field.present_if", "a refusal's fields are always there; drop present_if"});
    else if (!field.present_if.empty() && plain_before(layout, i, field.present_if) == nullptr)
      faults.push_back({here + ".field.present_if", "no earlier field is called " + quoted(field.present_if) +
                                                        known_names(plain_names(layout, i))});
    if (!field.copied_from_ask.empty() && groups_allowed &&
        (ask == nullptr || !named_anywhere(*ask, field.copied_from_ask))) {
      faults.push_back({here + ".field.copied_from_ask", ask == nullptr ? "an ask has nothing to copy from"
                                                                        : "no field of the ask is called " +
                                                                              quoted(field.copied_from_ask) +
                                                                              known_names(all_names(ask))});
    }
  }
  run.close(path, faults);
  check_numbers(layout, path, faults);
}

namespace {

/// Bytes around the payload, and whether there is one, of the frames of one shape.
struct Around {
  std::size_t bits = 0;
  bool has_payload = false;
  bool has_topic = false;
};

Around around_of(const BusDescription& bus, std::size_t shape) {
  Around around;
  for (const PartSpec& part : parts_of(bus, shape)) {
    if (part.field) around.bits += part.field->bits;
    if (part.check) around.bits += 8 * CheckPlan::bytes_of(*part.check);
    around.has_payload = around.has_payload || part.payload;
    around.has_topic = around.has_topic || (part.field && part.field->name == bus.roles.topic);
  }
  return around;
}

/// Shape and length of one side's frames.
void check_side(const BusDescription& bus, const Layout& layout, const std::string& shape_name, bool answers,
                const std::string& path, Faults& faults) {
  const std::string leaf = answers ? ".answer" : ".ask";
  const auto shape = shape_named(bus, shape_name);
  if (!shape) {
    std::string known;
    for (const ShapeSpec& each : bus.shapes) known += (known.empty() ? "" : ", ") + each.name;
    faults.push_back({path + leaf + "_shape", "no shape is called " + quoted(shape_name) +
                                                  (known.empty() ? "; none are described" : "; known are " + known)});
    return;
  }
  const Around around = around_of(bus, *shape);
  const std::size_t longest = bus.framing.kind == FramingKind::fixed ? bus.framing.fixed_bytes
                              : bus.framing.max_bytes != 0           ? bus.framing.max_bytes
                                                                     : max_frame_bytes;
  if (!around.has_payload && !layout.empty())
    faults.push_back({path + leaf, "frames of shape " + quoted(shape_name) + " have no payload; choose another shape"});
  if (!answers && !bus.roles.topic.empty() && !around.has_topic)
    faults.push_back({path + ".ask_shape", "an ask must name its topic, and frames of shape " + quoted(shape_name) +
                                               " have no field " + quoted(bus.roles.topic)});
  const auto& only = *shape == 0 ? std::nullopt : bus.shapes[*shape - 1].role;
  if (only && *only != (answers ? Role::answer : Role::ask))
    faults.push_back({path + leaf + "_shape", "frames of shape " + quoted(shape_name) + " are no " +
                                                  (answers ? "answers" : "asks") + " by their role"});
  if (least_bits(layout) + around.bits > 8 * longest)
    faults.push_back({path + leaf, "even the shortest payload is too long for a frame"});
}

}  // namespace

void check_topics(const BusDescription& bus, Faults& faults) {
  check_registers(bus, faults);
  if (bus.topics.empty()) faults.push_back({"topics", "nothing can be asked; describe at least one topic"});
  if (bus.roles.topic.empty() && bus.topics.size() > 1)
    faults.push_back({"roles.topic", "several topics need a header field that tells them apart; name it"});
  const FieldSpec* code_field = field_anywhere(bus, bus.roles.topic);
  std::set<std::string> names;
  std::set<std::uint64_t> codes;
  std::set<std::uint64_t> answer_codes;
  for (std::size_t i = 0; i < bus.topics.size(); ++i) {
    const TopicSpec& topic = bus.topics[i];
    const std::string path = at("topics", i);
    if (topic.name.empty()) faults.push_back({path + ".name", "the topic has no name; give it one"});
    if (!names.insert(topic.name).second)
      faults.push_back({path + ".name", quoted(topic.name) + " is the name of two topics"});
    const bool own_code = codes.insert(topic.code).second;
    if (!own_code)
      faults.push_back({path + ".code", "code " + std::to_string(topic.code) + " means another topic already"});
    if (code_field != nullptr && code_field->bits >= 1 && code_field->bits <= 64 &&
        topic.code > FieldCode::limit_of(*code_field)) {
      faults.push_back(
          {path + ".code", "code " + std::to_string(topic.code) + " does not fit into " + quoted(code_field->name)});
    }
    const auto& mark = bus.roles.refusal_mark;
    if (mark && mark->field == bus.roles.topic && (topic.code & mark->mask) != 0) {
      faults.push_back(
          {path + ".code", "the code has bits of the refusal mark, so its refusals could not be told; use other bits"});
    }
    if (topic.answer_code && bus.roles.topic.empty())
      faults.push_back({path + ".answer_code", "no field holds the topic's code; name it in roles.topic"});
    const auto answer_shape = shape_named(bus, topic.answer_shape);
    const bool named = !answer_shape || around_of(bus, *answer_shape).has_topic || bus.roles.topic.empty();
    const std::uint64_t answer_code = topic.answer_code.value_or(topic.code);
    if (named && !answer_codes.insert(answer_code).second && (own_code || topic.answer_code))
      faults.push_back({path + (topic.answer_code ? ".answer_code" : ".code"),
                        "answers with the code " + std::to_string(answer_code) + " mean another topic already"});
    if (code_field != nullptr && code_field->bits <= 64 && answer_code > FieldCode::limit_of(*code_field) &&
        topic.answer_code)
      faults.push_back({path + ".answer_code",
                        "code " + std::to_string(answer_code) + " does not fit into " + quoted(code_field->name)});
    if (mark && mark->field == bus.roles.topic && topic.answer_code && (answer_code & mark->mask) != 0)
      faults.push_back({path + ".answer_code",
                        "the code has bits of the refusal mark, so every answer would be a refusal; use other bits"});
    check_layout(topic.ask, path + ".ask", nullptr, true, faults);
    check_layout(topic.answer, path + ".answer", &topic.ask, true, faults);
    check_measuring(topic, path, !bus.registers.empty(), faults);
    check_side(bus, topic.ask, topic.ask_shape, false, path, faults);
    check_side(bus, topic.answer, topic.answer_shape, true, path, faults);
  }
}

}  // namespace hopbench
