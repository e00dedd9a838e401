#include "bus/faults.h"

#include <limits>

#include "bus/bits.h"

namespace hopbench {

void check_field(const FieldSpec& field, const std::string& path, Faults& faults) {
  const auto add = [&](const char* leaf, std::string what) { faults.push_back({path + leaf, std::move(what)}); };
  if (field.name.empty()) add(".name", "the field has no name; give it one");
  if (field.bits < 1 || field.bits > 64) {
    add(".bits", "a field has 1 to 64 bits, not " + std::to_string(field.bits));
    return;
  }
  if (field.varies_in_width()) {
    if (field.digits != Digits::decimal_text)
      add(".up_to_digits", "only decimal digits as text can be as many as it takes; set digits: DECIMAL_TEXT");
    if (field.up_to_digits > 18)
      add(".up_to_digits", "a number has at most 18 digits, not " + std::to_string(field.up_to_digits));
    if (field.decimals >= field.up_to_digits)
      add(".decimals", "at least one digit stands before the point; allow fewer decimals or more digits");
    if (field.little_endian) add(".little_endian", "digits as many as it takes have one order; drop it");
    if (field.up_to_digits > 18) return;
  } else if (field.decimals != 0) {
    add(".decimals", "only digits as many as it takes can have a point; set up_to_digits");
  }
  const bool text = field.digits == Digits::decimal_text || field.digits == Digits::hex_text;
  if (field.digits == Digits::bcd && field.bits % 4 != 0)
    add(".bits", "BCD digits take 4 bits each; make the width a multiple of 4");
  if (text && field.bits % 8 != 0) add(".bits", "digits as text take 8 bits each; make the width a multiple of 8");
  if (field.little_endian && field.bits % 8 != 0)
    add(".little_endian", "byte order means something for whole bytes only; drop it or make the width a multiple of 8");
  if (field.is_signed && field.digits != Digits::binary && !field.varies_in_width())
    add(".is_signed", "digits of a fixed number have no sign; use a binary field, or digits with up_to_digits");
  if (field.scale.den == 0) add(".scale.den", "a scale cannot divide by 0; 1 means no division");
  if (field.scale.num == 0) add(".scale.num", "a scale of 0 loses every value; 1 means no factor");
  if (field.scale.den > static_cast<std::uint64_t>(std::numeric_limits<std::int64_t>::max()))
    add(".scale.den", "the divisor must be below 2^63");
  const std::uint64_t limit = FieldCode::limit_of(field);
  if (field.constant && *field.constant > limit)
    add(".constant", "the constant does not fit; the largest value of this field is " + std::to_string(limit));
  if (field.sent_only && !field.constant)
    add(".sent_only", "only a constant can be sent only; give the field a constant");
  const int sources =
      (field.constant ? 1 : 0) + (field.quantity.empty() ? 0 : 1) + (field.copied_from_ask.empty() ? 0 : 1);
  if (sources > 1) add("", "a field is a constant, or a quantity, or copied from the ask; choose one");
  if (!field.present_if.empty() && field.present_if == field.name)
    add(".present_if", "a field cannot depend on itself; name an earlier field");
}

std::string known_names(const std::vector<std::string>& names) {
  if (names.empty()) return "; there is none that could be";
  std::string list;
  for (const std::string& name : names) list += (list.empty() ? "; known are " : ", ") + name;
  return list;
}

std::vector<Protocol::Fault> Protocol::faults_of(const BusDescription& description) {
  Faults faults;
  if (description.name.empty()) faults.push_back({"name", "the bus has no name; give it one"});
  check_frame(description, faults);
  check_roles(description, faults);
  check_topics(description, faults);
  return faults;
}

}  // namespace hopbench
