#include "view/frame_fields.h"

#include <fmt/format.h>

#include <algorithm>

#include "bus/spelled.h"
#include "view/frame_text.h"

namespace hopbench {
namespace {

constexpr std::size_t most_lines = 200;
constexpr std::size_t hex_width = 12;

std::string words_of(const SpelledPart& part) {
  if (part.what == SpelledPart::What::rest) return "not described";
  std::string text = part.name;
  if (part.what == SpelledPart::What::check) return text + (part.wrong.empty() ? ", agrees" : ", does not agree");
  if (part.value) {
    text += fmt::format(" {}", *part.value);
    if (!part.unit.empty()) text += " " + part.unit;
    if (part.raw && static_cast<std::int64_t>(*part.raw) != *part.value) text += fmt::format(" (raw {})", *part.raw);
  } else if (part.raw) {
    text += fmt::format(" {}", *part.raw);
    if (!part.unit.empty()) text += " " + part.unit;
  } else {
    text += ", cut off";
  }
  return text;
}

}  // namespace

std::vector<std::string> field_lines(const Protocol* protocol, std::span<const std::uint8_t> content, bool answer) {
  auto lines = frame_lines(protocol, content, answer);
  if (protocol == nullptr || content.empty()) return lines;
  const auto spelled = spelled_out(*protocol, content, answer ? Role::answer : Role::ask);
  if (spelled.damage != Damage::none && spelled.damage != Damage::check) return lines;
  lines.resize(1);
  // Parts that share a byte stand in one line.
  std::string words;
  std::size_t from = 0;
  for (std::size_t i = 0; i < spelled.parts.size() && lines.size() < most_lines; ++i) {
    const auto& part = spelled.parts[i];
    if (words.empty()) from = part.bit / 8;
    words += (words.empty() ? "" : ", ") + words_of(part);
    const std::size_t end = part.bit + part.bits;
    if (i + 1 < spelled.parts.size() && spelled.parts[i + 1].bit / 8 < (end + 7) / 8) continue;
    const auto low = std::min(from, content.size());
    const auto high = std::clamp((end + 7) / 8, low, content.size());
    lines.push_back(
        fmt::format("{:<{}}{}", hit_text(content.subspan(low, high - low), std::nullopt), hex_width, words));
    words.clear();
  }
  return lines;
}

}  // namespace hopbench
