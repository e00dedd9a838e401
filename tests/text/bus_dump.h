// A bus description as lines of text, so that two of them can be compared and the difference read.
#pragma once

#include <sstream>
#include <string>

#include "bus/description.h"

namespace hopbench {

class BusDump {
 public:
  static std::string of(const BusDescription& bus) {
    BusDump dump;
    dump.whole(bus);
    return dump.out_.str();
  }

 private:
  std::ostringstream out_;

  template <class... Values>
  void line(const std::string& what, const Values&... values) {
    out_ << what;
    ((out_ << " [" << values << "]"), ...);
    out_ << "\n";
  }
  template <class E>
  static int number(E value) {
    return static_cast<int>(value);
  }
  static std::string maybe(const std::optional<std::uint64_t>& value) {
    return value ? std::to_string(*value) : "none";
  }
  void scale(const Scale& s) { line("  scale", s.num, s.den, s.offset); }

  void field(const FieldSpec& f) {
    line(" field", f.name, f.bits, f.little_endian, f.is_signed, number(f.digits), f.unit, maybe(f.constant),
         f.sent_only, f.quantity, f.copied_from_ask, f.present_if, f.present_value, maybe(f.in_answers), f.up_to_digits,
         f.decimals);
    scale(f.scale);
  }
  void layout(const std::string& what, const Layout& items) {
    line(what, items.size());
    for (const LayoutItem& item : items) {
      if (item.field) field(*item.field);
      if (!item.group) continue;
      line(" group", item.group->name, item.group->times, item.group->count_field, item.group->to_end);
      for (const FieldSpec& f : item.group->fields) field(f);
      line(" end of group");
    }
  }
  void check(const CheckSpec& c) {
    line(" check", c.name, number(c.kind), c.crc.width, c.crc.poly, c.crc.init, c.crc.refin, c.crc.refout, c.crc.xorout,
         c.bits, c.little_endian, number(c.digits), c.over_text);
    for (const std::string& name : c.covers) line("  covers", name);
  }
  void framing(const FramingSpec& f) {
    line("framing", number(f.kind), f.size_plus, f.size_unit, f.size_again, f.header_check,
         std::string(f.start.begin(), f.start.end()), std::string(f.end.begin(), f.end.end()), f.hex_text,
         f.fixed_bytes, f.leading_boundary, f.silence_char_tenths, f.silence_least_us, f.silence_fixed_above_baud,
         f.abandon_char_tenths, f.max_bytes);
  }
  void roles(const RolesSpec& r) {
    line("roles", r.destination, r.distance, maybe(r.first_unenrolled), r.controller_address, r.passes_left, r.source,
         r.exchange, r.topic, r.size, number(r.tell_role), r.role_field, r.refusal_code_field);
    for (const std::uint64_t address : r.broadcast) line(" broadcast", address);
    for (const auto& [role, code] : r.role_codes) line(" role", number(role), code);
    if (r.refusal_mark) line(" mark", r.refusal_mark->field, r.refusal_mark->mask, r.refusal_mark->value);
    for (const auto& [reason, code] : r.refusal_codes) line(" reason", reason, code);
    layout("refusal", r.refusal);
  }
  void parts_of(const std::vector<PartSpec>& parts) {
    for (const PartSpec& part : parts) {
      line("part", part.payload, part.block_bytes);
      if (part.field) field(*part.field);
      if (part.check) check(*part.check);
      if (part.block_check) check(*part.block_check);
    }
  }
  void whole(const BusDescription& bus) {
    line("bus", bus.name, bus.line.baud, bus.line.data_bits, number(bus.line.parity), bus.line.stop_half_bits);
    framing(bus.framing);
    for (const PartSpec& part : bus.parts) {
      parts_of({part});
    }
    for (const ShapeSpec& shape : bus.shapes) {
      line("shape", shape.name, shape.role ? number(*shape.role) : -1);
      parts_of(shape.parts);
    }
    roles(bus.roles);
    line("forward", number(bus.forward.repair), number(bus.forward.unclaimed), bus.forward.broadcast_answered,
         bus.forward.least_gap_char_tenths, bus.forward.pass_unknown_topic);
    for (const RewriteSpec& rewrite : bus.forward.rewrite) line(" rewrite", rewrite.field, rewrite.add);
    for (const TopicSpec& topic : bus.topics) {
      line("topic", topic.name, topic.code, maybe(topic.answer_code), topic.ask_shape, topic.answer_shape,
           topic.changes, topic.first_field, topic.count_field, topic.values_group);
      layout(" ask", topic.ask);
      layout(" answer", topic.answer);
    }
    for (const RegisterSpec& r : bus.registers) {
      line("register", r.first, r.count, r.quantity, r.index, r.is_signed, r.writable);
      scale(r.scale);
    }
  }
};

}  // namespace hopbench
