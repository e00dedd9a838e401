#include "view/frame_text.h"

#include <fmt/format.h>

#include <algorithm>

namespace hopbench {
namespace {

constexpr std::size_t most_lines = 200;
constexpr std::size_t bytes_in_line = 14;  // as the narrowest place for them can show

std::string value_text(const FieldSpec& field, const PayloadValue& value) {
  std::string text = fmt::format("{} {}", field.name, value.value);
  if (!field.unit.empty()) text += " " + field.unit;
  if (static_cast<std::int64_t>(value.raw) != value.value) text += fmt::format("  (raw {})", value.raw);
  return text;
}

void add_payload(const Protocol& protocol, const Frame& frame, Protocol::Side side, std::vector<std::string>& lines) {
  const auto topic = protocol.topic(frame);
  if (!topic) return;
  const auto& spec = protocol.topic_spec(*topic);
  const auto& layout = side == Protocol::Side::ask ? spec.ask : spec.answer;
  std::vector<PayloadValue> values;
  const bool fits = protocol.read(frame, side, values);
  for (const auto& value : values) {
    if (lines.size() >= most_lines) return;
    if (value.item >= layout.size()) continue;
    const auto& item = layout[value.item];
    if (item.field) {
      lines.push_back(value_text(*item.field, value));
    } else if (item.group && value.field < item.group->fields.size()) {
      lines.push_back(fmt::format("{}[{}] {}", item.group->name, value.repetition,
                                  value_text(item.group->fields[value.field], value)));
    }
  }
  if (!fits) lines.emplace_back("the payload does not fit the description");
}

}  // namespace

std::vector<std::string> frame_lines(const Protocol* protocol, std::span<const std::uint8_t> content, bool answer) {
  std::vector<std::string> lines;
  if (content.empty()) return {"nothing was kept of it"};
  if (protocol == nullptr) return {hit_text(content, std::nullopt)};
  Frame frame;
  const auto damage = protocol->parse(content, frame);
  // What its fields say means nothing then; its bytes are all there is.
  if (damage != Damage::none && damage != Damage::check) {
    lines.emplace_back("not a whole frame");
    for (std::size_t at = 0; at < content.size() && lines.size() < most_lines; at += bytes_in_line) {
      lines.push_back(hit_text(content.subspan(at, std::min(bytes_in_line, content.size() - at)), std::nullopt));
    }
    return lines;
  }
  const auto topic = protocol->topic(frame);
  const auto code = protocol->refusal_code(frame);
  std::string first = topic ? protocol->topic_spec(*topic).name : std::string("no topic of this bus");
  if (const auto to = protocol->destination(frame)) first += fmt::format(", to {}", *to);
  if (const auto from = protocol->source(frame)) first += fmt::format(", from {}", *from);
  if (const auto exchange = protocol->exchange(frame)) first += fmt::format(", exchange {}", *exchange);
  if (damage == Damage::check) first += ", a check value does not agree";
  lines.push_back(first);
  if (answer && frame.role == Role::refusal && code) {
    lines.push_back(fmt::format("refused with code {}", *code));
    return lines;
  }
  add_payload(*protocol, frame, answer ? Protocol::Side::answer : Protocol::Side::ask, lines);
  return lines;
}

WireBit wire_bit(const LineCoding& line, std::uint32_t bit) {
  const std::uint32_t half = line.char_half_bits();
  return {2 * bit / half, 2 * bit % half / 2};
}

std::string hit_text(std::span<const std::uint8_t> wire, std::optional<std::uint32_t> hit) {
  std::string text;
  for (std::size_t i = 0; i < wire.size(); ++i) {
    const bool here = hit && *hit == i;
    text += here ? fmt::format(">{:02x}<", wire[i]) : fmt::format("{:02x}", wire[i]);
    if (i + 1 < wire.size()) text += ' ';
  }
  return text;
}

}  // namespace hopbench
