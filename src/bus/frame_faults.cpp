// Faults of line coding, framing, parts, checks and forwarding.
#include <algorithm>
#include <set>

#include "bus/bits.h"
#include "bus/check_plan.h"
#include "bus/faults.h"
#include "bus/frame_plan.h"
#include "bus/part_names.h"

namespace hopbench {
namespace {

constexpr std::size_t longest_marker = 16;  // start and end together, so that wire bytes have room
constexpr std::uint32_t longest_tenths = 100'000;

void check_line(const LineCoding& line, Faults& faults) {
  if (line.baud < 50 || line.baud > 20'000'000)
    faults.push_back({"line.baud", "the speed must be 50 to 20000000 baud, not " + std::to_string(line.baud)});
  if (line.data_bits < 5 || line.data_bits > 8)
    faults.push_back({"line.data_bits", "a character has 5 to 8 data bits, not " + std::to_string(line.data_bits)});
  if (line.stop_half_bits < 2 || line.stop_half_bits > 4)
    faults.push_back(
        {"line.stop_half_bits", "a stop takes 2, 3 or 4 half bits, not " + std::to_string(line.stop_half_bits)});
}

/// `bus` with the parts of one shape; `list` is the path of their list.
void check_parts(const BusDescription& bus, const std::string& list, Faults& faults) {
  std::size_t payloads = 0;
  std::set<std::string_view> names;
  std::size_t run_bits = 0;
  std::size_t run_start = 0;
  const auto close_run = [&](std::size_t end) {
    if (run_bits % 8 != 0 && end > run_start) {
      std::size_t odd = end - 1;  // the last that is no whole number of bytes is the likeliest culprit
      while (odd > run_start && bus.parts[odd].field->bits % 8 == 0) --odd;
      faults.push_back({at(list, odd) + ".field.bits", "the fields from " + quoted(name_of_part(bus.parts[run_start])) +
                                                           " on make " + std::to_string(run_bits) +
                                                           " bits; fields that stand together must fill whole bytes"});
    }
    run_bits = 0;
  };
  for (std::size_t i = 0; i < bus.parts.size(); ++i) {
    const PartSpec& part = bus.parts[i];
    const std::string path = at(list, i);
    if ((part.field ? 1 : 0) + (part.check ? 1 : 0) + (part.payload ? 1 : 0) != 1) {
      faults.push_back({path, "a part is one of field, check or payload"});
      close_run(i);
      run_start = i + 1;
      continue;
    }
    if (!names.insert(name_of_part(part)).second || (!part.payload && name_of_part(part) == payload_name)) {
      faults.push_back({path, "the name " + quoted(name_of_part(part)) +
                                  " is taken; names of parts are unique, and \"payload\" is the payload's"});
    }
    if (!part.field) {
      close_run(i);
      run_start = i + 1;
      payloads += part.payload ? 1U : 0U;
      if (part.check) check_check(bus, i, path + ".check", faults);
      if (part.payload) check_blocks(bus, part, path + ".payload", faults);
      continue;
    }
    const FieldSpec& field = *part.field;
    check_field(field, path + ".field", faults);
    if (field.little_endian && run_bits % 8 != 0)
      faults.push_back(
          {path + ".field.little_endian", "a little-endian field must start on a byte; move it or drop little_endian"});
    const bool text = field.digits == Digits::decimal_text || field.digits == Digits::hex_text;
    if (text && run_bits % 8 != 0)
      faults.push_back({path + ".field.digits", "digits as text must start on a byte; move the field"});
    if (!field.present_if.empty())
      faults.push_back(
          {path + ".field.present_if", "header fields are always there; only payload fields can be conditional"});
    if (!field.quantity.empty())
      faults.push_back({path + ".field.quantity", "header fields carry no quantities; move it into a topic's layout"});
    if (!field.copied_from_ask.empty())
      faults.push_back({path + ".field.copied_from_ask",
                        "an answer's header takes over the ask's header by itself; drop copied_from_ask"});
    if (field.varies_in_width())
      faults.push_back({path + ".field.up_to_digits", "header fields have a fixed width; use bits"});
    if (field.in_answers && field.constant)
      faults.push_back({path + ".field.in_answers", "a constant is the same in asks and answers; drop one of the two"});
    if (field.in_answers && *field.in_answers > FieldCode::limit_of(field))
      faults.push_back({path + ".field.in_answers", "the number does not fit; the largest value of this field is " +
                                                        std::to_string(FieldCode::limit_of(field))});
    run_bits += field.bits;
  }
  close_run(bus.parts.size());
  if (payloads == 0 && list == "parts") faults.push_back({list, "no part is the payload; add one: payload {}"});
  if (payloads > 1) faults.push_back({list, "more than one part is the payload; a frame has exactly one"});
}

/// Fields before the payload that can repeat the size.
std::vector<std::string> sizes_beside(const BusDescription& bus) {
  std::vector<std::string> names;
  for (const PartSpec& part : bus.parts) {
    if (part.payload) break;
    if (part.field && !part.field->constant && part.field->name != bus.roles.size) names.push_back(part.field->name);
  }
  return names;
}

std::vector<std::string> checks_before(const BusDescription& bus, std::size_t end) {
  std::vector<std::string> names;
  for (std::size_t i = 0; i < std::min(end, bus.parts.size()); ++i) {
    if (bus.parts[i].check) names.push_back(bus.parts[i].check->name);
  }
  return names;
}

void check_sized(const BusDescription& bus, const std::string& list, Faults& faults) {
  const FramingSpec& framing = bus.framing;
  const FieldSpec* marker = bus.parts.empty() || !bus.parts.front().field ? nullptr : &*bus.parts.front().field;
  if (marker == nullptr || !marker->constant || marker->sent_only || marker->bits % 8 != 0) {
    faults.push_back(
        {at(list, 0), "sized framing needs a marker: make the first part a constant field of whole bytes"});
  }
  const std::size_t payload = part_named(bus, payload_name);
  if (list != "parts") {
    if (payload < bus.parts.size() && field_named(bus, bus.roles.size) == nullptr)
      faults.push_back({list, "a shape with a payload needs the size field " + quoted(bus.roles.size) +
                                  "; add it before the payload, or drop the payload"});
    if (field_named(bus, bus.roles.size) != nullptr && part_named(bus, bus.roles.size) > payload)
      faults.push_back({list, "the size field must stand before the payload"});
    return;
  }
  if (bus.roles.size.empty()) faults.push_back({"roles.size", "sized framing needs a size field; name it"});
  if (!bus.roles.size.empty() && part_named(bus, bus.roles.size) > payload)
    faults.push_back({"roles.size", "the size field must stand before the payload"});
  if (!framing.size_again.empty()) {
    const FieldSpec* again = field_named(bus, framing.size_again);
    if (again == nullptr)
      faults.push_back({"framing.size_again",
                        "no header field is called " + quoted(framing.size_again) + known_names(sizes_beside(bus))});
    else if (framing.size_again == bus.roles.size)
      faults.push_back({"framing.size_again", "the size cannot be its own repetition; name another field"});
    else if (part_named(bus, framing.size_again) > payload)
      faults.push_back({"framing.size_again", "the repeated size must stand before the payload"});
  }
  if (!framing.header_check.empty()) {
    const std::size_t check = part_named(bus, framing.header_check);
    if (check == bus.parts.size() || !bus.parts[check].check) {
      faults.push_back({"framing.header_check", "no check is called " + quoted(framing.header_check) +
                                                    known_names(checks_before(bus, payload))});
      return;
    }
    if (check > payload) faults.push_back({"framing.header_check", "the header check must stand before the payload"});
    for (const std::string& name : bus.parts[check].check->covers) {
      const std::size_t covered = part_named(bus, name);
      if (covered >= payload)
        faults.push_back(
            {"framing.header_check", "a header check covers only parts before the payload, not " + quoted(name)});
      else if (covered > check)
        faults.push_back({"framing.header_check", "a header check covers only parts before it, not " + quoted(name)});
    }
  }
}

void check_marked(const FramingSpec& framing, Faults& faults) {
  if (framing.start.empty() && framing.end.empty())
    faults.push_back({"framing", "marked framing needs a start marker, an end marker, or both"});
  if (framing.start.size() + framing.end.size() > longest_marker)
    faults.push_back({"framing", "the markers are longer than 16 bytes together"});
  if (framing.end.empty() && framing.abandon_char_tenths == 0)
    faults.push_back({"framing.abandon_char_tenths", "without an end marker only silence ends the last frame; set it"});
  if (!framing.start.empty() && framing.start == framing.end)
    faults.push_back({"framing.end", "start and end markers are the same; leave one empty or make them differ"});
  if (!framing.hex_text) return;
  const auto is_digit = [](std::uint8_t byte) { return (byte >= '0' && byte <= '9') || (byte >= 'A' && byte <= 'F'); };
  if (std::any_of(framing.start.begin(), framing.start.end(), is_digit))
    faults.push_back({"framing.start", "with hex_text a marker cannot contain hexadecimal digits"});
  if (std::any_of(framing.end.begin(), framing.end.end(), is_digit))
    faults.push_back({"framing.end", "with hex_text a marker cannot contain hexadecimal digits"});
}

void check_framing(const BusDescription& bus, Faults& faults) {
  const FramingSpec& framing = bus.framing;
  const FramingKind kind = framing.kind;
  const auto only_for = [&](bool given, bool fits, const char* leaf, const char* what) {
    if (given && !fits) faults.push_back({std::string("framing.") + leaf, what});
  };
  only_for(!framing.header_check.empty(), kind == FramingKind::sized, "header_check",
           "only sized framing has a header check to believe; drop it");
  only_for(!framing.size_again.empty(), kind == FramingKind::sized, "size_again",
           "only sized framing reads the size twice; drop it");
  only_for(framing.hex_text, kind == FramingKind::marked, "hex_text",
           "only marked framing can be hexadecimal text; drop it");
  only_for(framing.leading_boundary,
           kind == FramingKind::cobs || kind == FramingKind::slip || kind == FramingKind::hdlc, "leading_boundary",
           "only cobs, slip and hdlc framing have boundaries; drop it");
  only_for(framing.fixed_bytes != 0, kind == FramingKind::fixed, "fixed_bytes",
           "only fixed framing has a fixed length; drop it");
  if (framing.abandon_char_tenths > longest_tenths)
    faults.push_back({"framing.abandon_char_tenths", "the pause must be at most 10000 characters"});
  if (framing.silence_char_tenths > longest_tenths)
    faults.push_back({"framing.silence_char_tenths", "the pause must be at most 10000 characters"});
  if (framing.max_bytes > max_frame_bytes)
    faults.push_back({"framing.max_bytes", "a frame has at most " + std::to_string(max_frame_bytes) + " bytes"});
  if (framing.size_unit == 0 || framing.size_unit > max_frame_bytes)
    faults.push_back(
        {"framing.size_unit", "the size counts in units of 1 to " + std::to_string(max_frame_bytes) + " bytes"});
  if (framing.size_plus > 65'536 || framing.size_plus < -65'536)
    faults.push_back({"framing.size_plus", "the size can be off by at most 65536 bytes"});
  switch (kind) {
    case FramingKind::sized:
      for (std::size_t shape = 0; shape <= bus.shapes.size(); ++shape) {
        check_sized(with_one_shape(bus, shape), parts_path(shape), faults);
      }
      break;
    case FramingKind::marked:
      check_marked(framing, faults);
      break;
    case FramingKind::fixed:
      if (framing.fixed_bytes == 0 || framing.fixed_bytes > max_frame_bytes)
        faults.push_back({"framing.fixed_bytes", "a frame has 1 to " + std::to_string(max_frame_bytes) + " bytes"});
      if (framing.max_bytes != 0)
        faults.push_back({"framing.max_bytes", "fixed framing says its length by fixed_bytes; drop max_bytes"});
      if (framing.abandon_char_tenths == 0)
        faults.push_back(
            {"framing.abandon_char_tenths",
             "without a pause that gives up half a frame, a receiver of fixed frames never gets back in step; set it"});
      break;
    case FramingKind::silence:
      if (framing.silence_char_tenths == 0 && framing.silence_least_us == 0)
        faults.push_back({"framing.silence_char_tenths",
                          "silence framing needs a pause: set silence_char_tenths or silence_least_us"});
      if (framing.silence_fixed_above_baud != 0 && framing.silence_least_us == 0)
        faults.push_back(
            {"framing.silence_least_us", "silence_fixed_above_baud needs the fixed pause; set silence_least_us"});
      if (framing.abandon_char_tenths != 0)
        faults.push_back({"framing.abandon_char_tenths", "silence framing ends frames by its own pause; drop it"});
      break;
    case FramingKind::cobs:
    case FramingKind::slip:
    case FramingKind::hdlc:
      break;
  }
  if (kind != FramingKind::silence && (framing.silence_char_tenths != 0 || framing.silence_least_us != 0))
    faults.push_back({"framing.silence_char_tenths",
                      "only silence framing ends frames by a pause; drop it or use abandon_char_tenths"});
}

void check_forwarding(const BusDescription& bus, Faults& faults) {
  std::set<std::string> named;
  for (std::size_t i = 0; i < bus.forward.rewrite.size(); ++i) {
    const RewriteSpec& rewrite = bus.forward.rewrite[i];
    const std::string path = "forward." + at("rewrite", i);
    const FieldSpec* field = field_anywhere(bus, rewrite.field);
    if (field == nullptr)
      faults.push_back({path + ".field", "no header field is called " + quoted(rewrite.field) +
                                             known_names(header_fields(bus, [&](const FieldSpec& each) {
                                               return !each.constant && each.name != bus.roles.size &&
                                                      each.name != bus.framing.size_again;
                                             }))});
    else if (field->constant)
      faults.push_back({path + ".field", quoted(rewrite.field) + " is a constant; forwarding cannot rewrite it"});
    else if (rewrite.field == bus.roles.size || rewrite.field == bus.framing.size_again)
      faults.push_back({path + ".field", "forwarding cannot rewrite the size"});
    if (!named.insert(rewrite.field).second)
      faults.push_back({path + ".field", quoted(rewrite.field) + " is rewritten twice"});
    if (rewrite.add == 0) faults.push_back({path + ".add", "adding 0 changes nothing; drop the entry"});
    if ((rewrite.field == bus.roles.passes_left || rewrite.field == bus.roles.distance) && rewrite.add > 0)
      faults.push_back({path + ".add", quoted(rewrite.field) + " is counted down; use a negative number"});
  }
  if (!bus.roles.passes_left.empty() && !named.contains(bus.roles.passes_left))
    faults.push_back(
        {"forward.rewrite", "passes left is never taken down; add an entry for " + quoted(bus.roles.passes_left)});
  if (!bus.roles.distance.empty() && !named.contains(bus.roles.distance))
    faults.push_back(
        {"forward.rewrite", "the distance is never counted down; add an entry for " + quoted(bus.roles.distance)});
  if (bus.forward.least_gap_char_tenths > longest_tenths)
    faults.push_back({"forward.least_gap_char_tenths", "the pause must be at most 10000 characters"});
  if (bus.forward.repair != CheckRepair::untouched) return;
  for (std::size_t shape = 0; shape <= bus.shapes.size(); ++shape) {
    const FramePlan plan(bus, shape);
    std::size_t check = 0;
    for (const PartSpec& part : parts_of(bus, shape)) {
      if (!part.check || !plan.checks[check++].follows_forwarding) continue;
      faults.push_back({"forward.repair", "check " + quoted(part.check->name) +
                                              " covers a field that forwarding rewrites, so every forwarded frame "
                                              "would be bad; use if_good or by_difference, or do not cover the field"});
    }
  }
}

}  // namespace

void check_frame(const BusDescription& bus, Faults& faults) {
  check_line(bus.line, faults);
  const std::size_t before = faults.size();
  for (std::size_t shape = 0; shape <= bus.shapes.size(); ++shape) {
    check_parts(with_one_shape(bus, shape), parts_path(shape), faults);
  }
  check_shapes(bus, faults);
  check_framing(bus, faults);
  if (faults.size() != before) return;  // places and bounds below need sound parts
  for (std::size_t shape = 0; shape <= bus.shapes.size(); ++shape) {
    const BusDescription one = with_one_shape(bus, shape);
    for (std::size_t i = 0; i < one.parts.size(); ++i) {
      if (one.parts[i].check) check_cover_bytes(one, i, at(parts_path(shape), i) + ".check", faults);
    }
  }
  if (faults.size() != before) return;
  for (std::size_t shape = 0; shape <= bus.shapes.size(); ++shape) {
    const FramePlan plan(bus, shape);
    const std::size_t around = plan.zones.front + plan.zones.back;
    if (bus.framing.kind == FramingKind::fixed && around > bus.framing.fixed_bytes) {
      faults.push_back({"framing.fixed_bytes", "header and checks alone take " + std::to_string(around) + " bytes"});
    } else if (plan.most < around) {
      faults.push_back({"framing.max_bytes", "no frame fits: header and checks take " + std::to_string(around) +
                                                 " bytes, and the size field or max_bytes allows " +
                                                 std::to_string(plan.most)});
    }
    if (plan.size != no_index && bus.framing.size_plus > static_cast<std::int64_t>(plan.most)) {
      faults.push_back({"framing.size_plus", "even size 0 means more bytes than a frame may have"});
    }
    if (plan.size_again != no_index && plan.slots[plan.size_again].spec->constant) {
      faults.push_back({"framing.size_again", "the repeated size cannot be a constant"});
    }
  }
  check_forwarding(bus, faults);
}

}  // namespace hopbench
