#include "text/bus_loader.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <utility>

#include "base/counted.h"
#include "bus/crc_models.h"
#include "bus/misfits.h"
#include "bus/protocol.h"
#include "scenario/quantity.h"
#include "scenario/told_range.h"
#include "text/bus.h"
#include "text/parse.h"
#include "text/readers.h"
#include "text/suggest.h"
#include "text/values.h"

namespace hopbench {
namespace {

// Far above any real bus; they keep the time that a description can take small.
constexpr int most_parts = 64;
constexpr int most_items = 64;
constexpr int most_topics = 256;
constexpr int most_registers = 1024;

void check_quantity(const std::string& name, const Spot& spot) {
  if (name.empty() || quantity_named(name)) return;
  std::vector<std::string> known;
  for (const QuantityInfo& info : quantities()) known.emplace_back(info.name);
  spot.in("quantity").say(fmt::format("no node has a quantity {}{}", in_quotes(name), suggestion(name, known)));
}

LineCoding line_from(const text::Line& line, const Spot& spot) {
  LineCoding result;
  if (line.has_baud()) result.baud = line.baud();
  std::string why;
  if (line.has_format() && !parse_line_format(line.format(), result, why)) spot.in("format").say(why);
  return result;
}

Scale scale_from(const text::Scale& scale) {
  Scale result;
  if (scale.has_num()) result.num = scale.num();
  if (scale.has_den()) result.den = scale.den();
  result.offset = scale.offset();
  return result;
}

FieldSpec field_from(const text::Field& field, const Spot& spot) {
  FieldSpec result;
  check_name(spot, field.name(), "field");
  check_quantity(field.quantity(), spot);
  result.name = field.name();
  if (field.has_bits()) result.bits = field.bits();
  result.little_endian = field.little_endian();
  result.is_signed = field.signed_();
  result.digits = static_cast<Digits>(field.digits());
  result.scale = scale_from(field.scale());
  result.unit = field.unit();
  if (field.has_constant()) result.constant = field.constant();
  result.sent_only = field.sent_only();
  result.quantity = field.quantity();
  result.copied_from_ask = field.copied_from_ask();
  result.present_if = field.present_if();
  result.present_value = field.present_value();
  if (field.has_in_answers()) result.in_answers = field.in_answers();
  result.up_to_digits = field.up_to_digits();
  result.decimals = field.decimals();
  if (result.varies_in_width()) {
    result.bits = 64;
    if (field.has_bits()) spot.in("bits").say("a number of as many digits as it takes has no width; drop bits");
  }
  return result;
}

GroupSpec group_from(const text::Group& group, const Spot& spot) {
  GroupSpec result;
  check_name(spot, group.name(), "group");
  result.name = group.name();
  result.times = group.times();
  result.count_field = group.count_field();
  result.to_end = group.to_end();
  if (too_many(spot, "field", group.field_size(), most_items)) return result;
  for (int i = 0; i < group.field_size(); ++i) result.fields.push_back(field_from(group.field(i), spot.in("field", i)));
  return result;
}

template <class Items>
Layout layout_from(const Items& items, const Spot& spot, std::string_view name) {
  Layout result;
  if (too_many(spot, name, items.size(), most_items)) return result;
  for (int i = 0; i < items.size(); ++i) {
    const Spot here = spot.in(name, i);
    LayoutItem item;
    if (items[i].has_field()) item.field = field_from(items[i].field(), here.in("field"));
    if (items[i].has_group()) item.group = group_from(items[i].group(), here.in("group"));
    if (!item.field && !item.group) here.say(fmt::format("{} needs a field or a group", name));
    result.push_back(std::move(item));
  }
  return result;
}

void crc_from(const text::Crc& crc, const Spot& spot, CrcModel& model) {
  if (!crc.model().empty()) {
    for (const char* leaf : {"width", "poly", "init", "refin", "refout", "xorout"}) {
      if (spot.has(leaf)) spot.in(leaf).say("a model by its name says this already; drop it, or drop model");
    }
    if (const NamedCrc* named = crc_named(crc.model())) {
      model = named->model;
      return;
    }
    std::vector<std::string> known;
    for (const NamedCrc& each : named_crcs()) {
      known.emplace_back(each.name);
      if (!each.other_name.empty()) known.emplace_back(each.other_name);
    }
    spot.in("model").say(
        fmt::format("there is no CRC model {}{}", in_quotes(crc.model()), suggestion(crc.model(), known)));
    model.poly = 1;  // nothing more is to be said about it
    return;
  }
  if (crc.has_width()) model.width = crc.width();
  model.poly = crc.poly();
  model.init = crc.init();
  model.refin = crc.refin();
  model.refout = crc.refout();
  model.xorout = crc.xorout();
}

CheckSpec check_from(const text::Check& check, const Spot& spot) {
  CheckSpec result;
  check_name(spot, check.name(), "check");
  result.name = check.name();
  result.kind = static_cast<SumKind>(check.kind());
  if (result.kind == SumKind::crc) {
    if (!check.has_crc())
      spot.say("a check of kind CRC needs its model: crc { model: \"CRC-16/MODBUS\" } or crc { width: 16 poly: ... }");
    if (check.has_bits()) spot.in("bits").say("a check of kind CRC has its width in crc { width: ... }, not in bits");
  } else if (check.has_crc()) {
    spot.in("crc").say(fmt::format("a check of kind {} has no crc model", text::Check::Kind_Name(check.kind())));
  }
  if (check.has_crc()) crc_from(check.crc(), spot.in("crc"), result.crc);
  if (result.kind == SumKind::fletcher || result.kind == SumKind::fletcher_256) result.bits = 16;
  if (check.has_bits()) result.bits = check.bits();
  result.digits = static_cast<Digits>(check.digits());
  result.little_endian = check.little_endian();
  result.over_text = check.over_text();
  if (too_many(spot, "covers", check.covers_size(), most_parts)) return result;
  result.covers.assign(check.covers().begin(), check.covers().end());
  return result;
}

PartSpec part_from(const text::Part& part, const Spot& spot) {
  PartSpec result;
  if (part.has_field()) result.field = field_from(part.field(), spot.in("field"));
  if (part.has_check()) result.check = check_from(part.check(), spot.in("check"));
  result.payload = part.has_payload();
  result.block_bytes = part.payload().block_bytes();
  if (part.payload().has_block_check())
    result.block_check = check_from(part.payload().block_check(), spot.in("payload").in("block_check"));
  if (part.what_case() == text::Part::WHAT_NOT_SET)
    spot.say("a part is a field { ... }, a check { ... } or payload {}");
  return result;
}

std::vector<std::uint8_t> bytes_from(const std::string& text) { return {text.begin(), text.end()}; }

FramingSpec framing_from(const text::Framing& framing) {
  FramingSpec result;
  result.kind = static_cast<FramingKind>(framing.kind());
  result.size_plus = framing.size_plus();
  if (framing.has_size_unit()) result.size_unit = framing.size_unit();
  result.size_again = framing.size_again();
  result.header_check = framing.header_check();
  result.start = bytes_from(framing.start());
  result.end = bytes_from(framing.end());
  result.hex_text = framing.hex_text();
  result.fixed_bytes = framing.fixed_bytes();
  result.leading_boundary = framing.leading_boundary();
  result.silence_char_tenths = framing.silence_char_tenths();
  result.silence_least_us = framing.silence_least_us();
  result.silence_fixed_above_baud = framing.silence_fixed_above_baud();
  result.abandon_char_tenths = framing.abandon_char_tenths();
  result.max_bytes = framing.max_bytes();
  return result;
}

RolesSpec roles_from(const text::Roles& roles, const Spot& spot) {
  RolesSpec result;
  result.destination = roles.destination();
  result.distance = roles.distance();
  for (const char* field : {"broadcast", "role_codes", "refusal_codes"}) {
    if (spot.has(field, most_items)) too_many(spot, field, most_items + 1, most_items);
  }
  result.broadcast.assign(roles.broadcast().begin(), roles.broadcast().end());
  if (roles.has_first_unenrolled()) result.first_unenrolled = roles.first_unenrolled();
  result.controller_address = roles.controller_address();
  result.passes_left = roles.passes_left();
  result.source = roles.source();
  result.exchange = roles.exchange();
  result.topic = roles.topic();
  result.size = roles.size();
  result.tell_role = static_cast<TellRole>(roles.tell_role());
  result.role_field = roles.role_field();
  for (int i = 0; i < roles.role_codes_size(); ++i) {
    const text::RoleCode& code = roles.role_codes(i);
    if (!code.has_role() || !code.has_code()) spot.in("role_codes", i).say("role_codes needs a role and a code");
    result.role_codes.emplace_back(static_cast<Role>(code.role()), code.code());
  }
  if (roles.has_refusal_mark()) {
    result.refusal_mark = {roles.refusal_mark().field(), roles.refusal_mark().mask(), roles.refusal_mark().value()};
  }
  result.refusal_code_field = roles.refusal_code_field();
  for (int i = 0; i < roles.refusal_codes_size(); ++i) {
    const text::RefusalCode& code = roles.refusal_codes(i);
    if (code.reason().empty() || !code.has_code())
      spot.in("refusal_codes", i).say("refusal_codes needs a reason and a code");
    result.refusal_codes.emplace_back(code.reason(), code.code());
  }
  result.refusal = layout_from(roles.refusal(), spot, "refusal");
  return result;
}

ForwardSpec forward_from(const text::Forward& forward, const Spot& spot) {
  ForwardSpec result;
  if (too_many(spot, "rewrite", forward.rewrite_size(), most_parts)) return result;
  for (const text::Rewrite& rewrite : forward.rewrite()) result.rewrite.push_back({rewrite.field(), rewrite.add()});
  result.repair = static_cast<CheckRepair>(forward.repair());
  result.unclaimed = static_cast<Unclaimed>(forward.unclaimed());
  result.broadcast_answered = forward.broadcast_answered();
  result.least_gap_char_tenths = forward.least_gap_char_tenths();
  if (forward.has_pass_unknown_topic()) result.pass_unknown_topic = forward.pass_unknown_topic();
  return result;
}

TopicSpec topic_from(const text::Topic& topic, const Spot& spot) {
  TopicSpec result;
  check_name(spot, topic.name(), "topic");
  result.name = topic.name();
  result.code = topic.code();
  if (topic.has_answer_code()) result.answer_code = topic.answer_code();
  result.ask_shape = topic.ask_shape();
  result.answer_shape = topic.answer_shape();
  if (topic.has_changes()) result.changes = topic.changes();
  result.ask = layout_from(topic.ask(), spot, "ask");
  result.answer = layout_from(topic.answer(), spot, "answer");
  result.first_field = topic.first_field();
  result.count_field = topic.count_field();
  result.values_group = topic.values_group();
  return result;
}

ShapeSpec shape_from(const text::Shape& shape, const Spot& spot) {
  ShapeSpec result;
  check_name(spot, shape.name(), "shape");
  result.name = shape.name();
  if (too_many(spot, "part", shape.part_size(), most_parts)) return result;
  for (int i = 0; i < shape.part_size(); ++i) result.parts.push_back(part_from(shape.part(i), spot.in("part", i)));
  if (shape.has_role()) result.role = static_cast<Role>(shape.role());
  return result;
}

RegisterSpec register_from(const text::Register& span, const Spot& spot) {
  RegisterSpec result;
  check_quantity(span.quantity(), spot);
  if (span.quantity().empty()) spot.say("register needs a quantity");
  result.first = span.first();
  if (span.has_count()) result.count = span.count();
  result.quantity = span.quantity();
  result.index = span.index();
  result.scale = scale_from(span.scale());
  result.is_signed = span.signed_();
  result.writable = span.writable();
  return result;
}

static_assert(static_cast<int>(Digits::hex_text) == text::Field::HEX_TEXT);
static_assert(static_cast<int>(SumKind::fletcher_256) == text::Check::FLETCHER_256);
static_assert(static_cast<int>(FramingKind::silence) == text::Framing::SILENCE);
static_assert(static_cast<int>(Role::notice) == text::RoleCode::NOTICE);
static_assert(static_cast<int>(TellRole::by_pending_ask) == text::Roles::BY_PENDING_ASK);
static_assert(static_cast<int>(CheckRepair::untouched) == text::Forward::UNTOUCHED);
static_assert(static_cast<int>(Unclaimed::last_node_stops_it) == text::Forward::LAST_NODE_STOPS_IT);

/// Struct members whose name in the text is another.
constexpr std::array<std::pair<std::string_view, std::string_view>, 9> other_names{{
    {"parts", "part"},
    {"shapes", "shape"},
    {"topics", "topic"},
    {"registers", "register"},
    {"fields", "field"},
    {"is_signed", "signed"},
    {"data_bits", "format"},
    {"parity", "format"},
    {"stop_half_bits", "format"},
}};

std::string_view name_in_text(std::string_view member) {
  for (const auto& [in_struct, in_text] : other_names) {
    if (in_struct == member) return in_text;
  }
  return member;
}

/// Tells if a field has no room for anything that its quantity can be.
void check_range_of(const FieldSpec& field, const Scale& scale, bool is_signed, const std::string& name,
                    const Spot& spot) {
  const auto quantity = quantity_named(name);
  const auto plausible = quantity ? plausible_range(*quantity) : std::nullopt;
  if (!plausible) return;
  const TellRange range = sayable_range(field, scale, is_signed);
  if (range.least <= plausible->most && range.most >= plausible->least) return;
  const std::string_view unit = quantities()[static_cast<std::size_t>(*quantity)].unit;
  const std::string behind = unit.empty() ? "" : fmt::format(" {}", unit);
  const std::string room =
      field.varies_in_width() ? counted(field.up_to_digits, "digit") : fmt::format("{} bits", field.bits);
  spot.say(fmt::format("{} hold {} to {}{}, and {} is {} to {}{}; make it wider or give it a scale", room, range.least,
                       range.most, behind, name, plausible->least, plausible->most, behind));
}

void check_ranges(const BusDescription& bus, const Spot& root) {
  for (std::size_t t = 0; t < bus.topics.size(); ++t) {
    const TopicSpec& topic = bus.topics[t];
    const Spot spot = root.in("topic", static_cast<int>(t));
    for (const bool answering : {false, true}) {
      const Layout& layout = answering ? topic.answer : topic.ask;
      for (std::size_t i = 0; i < layout.size(); ++i) {
        const Spot item = spot.in(answering ? "answer" : "ask", static_cast<int>(i));
        const auto check = [&](const FieldSpec& field, const Spot& here) {
          check_range_of(field, field.scale, field.is_signed, field.quantity, here);
        };
        if (layout[i].field) check(*layout[i].field, item.in("field"));
        for (std::size_t f = 0; layout[i].group && f < layout[i].group->fields.size(); ++f) {
          const FieldSpec& field = layout[i].group->fields[f];
          check(field, item.in("group").in("field", static_cast<int>(f)));
          if (layout[i].group->name != topic.values_group || !field.quantity.empty() || field.constant) continue;
          for (std::size_t r = 0; r < bus.registers.size(); ++r) {
            const RegisterSpec& shown = bus.registers[r];
            check_range_of(field, shown.scale, shown.is_signed, shown.quantity,
                           root.in("register", static_cast<int>(r)));
          }
        }
      }
    }
  }
}

}  // namespace

Spot spot_of_part(const Spot& root, std::string_view path) {
  Spot spot = root;
  while (!path.empty()) {
    const std::size_t dot = path.find('.');
    std::string_view step = path.substr(0, dot);
    path = dot == std::string_view::npos ? std::string_view{} : path.substr(dot + 1);
    int index = 0;
    if (const std::size_t bracket = step.find('['); bracket != std::string_view::npos) {
      std::from_chars(step.data() + bracket + 1, step.data() + step.size(), index);
      step = step.substr(0, bracket);
    }
    const std::string_view name = name_in_text(step);
    if (!spot.has(name, index)) break;
    spot = spot.in(name, index);
  }
  return spot;
}

BusDescription bus_from(const text::Bus& bus, const Spot& spot) {
  BusDescription result;
  check_name(spot, bus.name(), "bus");
  result.name = bus.name();
  result.line = line_from(bus.line(), spot.in("line"));
  result.framing = framing_from(bus.framing());
  if (too_many(spot, "part", bus.part_size(), most_parts) || too_many(spot, "topic", bus.topic_size(), most_topics) ||
      too_many(spot, "shape", bus.shape_size(), most_parts) ||
      too_many(spot, "register", bus.register__size(), most_registers)) {
    return result;
  }
  for (int i = 0; i < bus.part_size(); ++i) result.parts.push_back(part_from(bus.part(i), spot.in("part", i)));
  for (int i = 0; i < bus.shape_size(); ++i) result.shapes.push_back(shape_from(bus.shape(i), spot.in("shape", i)));
  result.roles = roles_from(bus.roles(), spot.in("roles"));
  result.forward = forward_from(bus.forward(), spot.in("forward"));
  for (int i = 0; i < bus.topic_size(); ++i) result.topics.push_back(topic_from(bus.topic(i), spot.in("topic", i)));
  for (int i = 0; i < bus.register__size(); ++i) {
    result.registers.push_back(register_from(bus.register_(i), spot.in("register", i)));
  }
  return result;
}

void tell_bus_faults(const BusDescription& bus, const Spot& spot, Demand demand) {
  const auto faults = Protocol::faults_of(bus);
  for (const Protocol::Fault& fault : faults) spot_of_part(spot, fault.part).say(fault.what);
  if (!faults.empty() || demand == Demand::sound) return;
  for (const Misfit& misfit : misfits_of(bus)) {
    const Spot here = spot_of_part(spot, misfit.part);
    if (misfit.surely) here.say(misfit.what);
    if (!misfit.surely) here.warn(misfit.what);
  }
  check_ranges(bus, spot);
}

std::optional<BusDescription> load_bus(const TextFile& file, std::vector<Problem>& problems) {
  return load_bus(file, Demand::works, problems);
}

std::optional<BusDescription> load_bus(const TextFile& file, Demand demand, std::vector<Problem>& problems) {
  Reporter reporter{file};
  std::optional<BusDescription> result;
  try {
    text::Bus message;
    const Outline outline = parse_text(file, message, reporter);
    if (reporter.empty()) {
      const Spot spot{outline, reporter};
      result = bus_from(message, spot);
      if (reporter.empty()) tell_bus_faults(*result, spot, demand);
    }
  } catch (const TooManyProblems&) {
    // What was found up to here is told.
  }
  if (!reporter.empty()) result.reset();
  reporter.hand_over(problems);
  return result;
}

}  // namespace hopbench
