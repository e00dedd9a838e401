#include "view/frame_fields.h"

#include <fmt/format.h>

#include <algorithm>

#include "view/frame_text.h"

namespace hopbench {
namespace {

constexpr std::size_t most_lines = 200;
constexpr std::size_t hex_width = 12;

/// Gathers parts until they end on a byte, then tells them in one line.
class FieldLines {
 public:
  FieldLines(std::span<const std::uint8_t> content, std::vector<std::string>& lines)
      : content_(content), lines_(lines) {}

  void at(std::size_t bit) { from_ = to_ = bit; }
  void add(std::size_t bits, const std::string& words) {
    to_ += bits;
    words_ += (words_.empty() ? "" : ", ") + words;
    if (to_ % 8 == 0) flush();
  }
  void flush() {
    if (to_ > from_ && lines_.size() < most_lines) {
      const auto low = std::min(from_ / 8, content_.size());
      const auto high = std::min((to_ + 7) / 8, content_.size());
      lines_.push_back(
          fmt::format("{:<{}}{}", hit_text(content_.subspan(low, high - low), std::nullopt), hex_width, words_));
    }
    from_ = to_;
    words_.clear();
  }

 private:
  std::span<const std::uint8_t> content_;
  std::vector<std::string>& lines_;
  std::size_t from_ = 0;
  std::size_t to_ = 0;
  std::string words_;
};

std::size_t check_bits(const CheckSpec& check) { return check.kind == SumKind::crc ? check.crc.width : check.bits; }

std::string value_words(const FieldSpec& field, const PayloadValue& value) {
  auto text = fmt::format("{} {}", field.name, value.value);
  if (!field.unit.empty()) text += " " + field.unit;
  if (static_cast<std::int64_t>(value.raw) != value.value) text += fmt::format(" (raw {})", value.raw);
  return text;
}

void add_payload(const Protocol& protocol, const Frame& frame, Protocol::Side side, std::size_t bits,
                 FieldLines& lines) {
  const auto topic = protocol.topic(frame);
  std::size_t told = 0;
  if (topic) {
    const auto& spec = protocol.topic_spec(*topic);
    const auto& layout = side == Protocol::Side::ask ? spec.ask : spec.answer;
    std::vector<PayloadValue> values;
    protocol.read(frame, side, values);
    for (const auto& value : values) {
      if (value.item >= layout.size()) continue;
      const auto& item = layout[value.item];
      const bool grouped = item.group && value.field < item.group->fields.size();
      if (!item.field && !grouped) continue;
      const auto& field = item.field ? *item.field : item.group->fields[value.field];
      if (told + field.bits > bits) break;
      told += field.bits;
      const auto where = item.field ? "" : fmt::format("{}[{}] ", item.group->name, value.repetition);
      lines.add(field.bits, where + value_words(field, value));
    }
  }
  lines.flush();
  if (told < bits) lines.add(bits - told, "payload that the description does not name");
  lines.flush();
}

}  // namespace

std::vector<std::string> field_lines(const Protocol* protocol, std::span<const std::uint8_t> content, bool answer) {
  if (protocol == nullptr || content.empty()) return frame_lines(protocol, content, answer);
  Frame frame;
  const auto damage = protocol->parse(content, frame);
  if (damage != Damage::none && damage != Damage::check) return frame_lines(protocol, content, answer);
  std::vector<std::string> lines{frame_lines(protocol, content, answer).front()};
  const auto& parts = protocol->description().parts;
  std::size_t others = 0;
  for (const auto& part : parts) {
    if (part.field) others += part.field->bits;
    if (part.check) others += check_bits(*part.check);
  }
  const std::size_t payload = 8 * content.size() - std::min(8 * content.size(), others);
  FieldLines out(content, lines);
  out.at(0);
  std::size_t slot = 0;
  for (const auto& part : parts) {
    if (part.field) {
      const auto raw = slot < frame.field.size() ? frame.field[slot] : 0;
      ++slot;
      out.add(part.field->bits, fmt::format("{} {}", part.field->name, raw));
    } else if (part.check) {
      out.add(check_bits(*part.check), fmt::format("{}{}", part.check->name, damage == Damage::none ? ", agrees" : ""));
    } else if (frame.role == Role::refusal) {
      out.flush();
      if (payload > 0) out.add(payload, "refusal");
      out.flush();
    } else {
      out.flush();
      add_payload(*protocol, frame, answer ? Protocol::Side::answer : Protocol::Side::ask, payload, out);
    }
  }
  out.flush();
  return lines;
}

}  // namespace hopbench
