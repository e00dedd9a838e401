#include <fmt/format.h>

#include <algorithm>

#include "base/counted.h"
#include "base/plain_text.h"
#include "bus/frame_plan.h"
#include "view/frame_report.h"
#include "view/number_text.h"
#include "view/page.h"
#include "view/paragraph.h"

namespace hopbench {
namespace {

constexpr std::size_t columns = 80;
constexpr std::size_t bytes_in_line = 24;
constexpr std::size_t bytes_in_row = 6;
constexpr std::size_t name_width = 22;

std::string hex_of(std::span<const std::uint8_t> bytes, std::size_t most) {
  std::string text;
  for (std::size_t i = 0; i < std::min(bytes.size(), most); ++i)
    text += fmt::format("{}{:02x}", i == 0 ? "" : " ", bytes[i]);
  return bytes.size() > most ? text + " .." : text;
}

std::string role_name(Role role) {
  switch (role) {
    case Role::ask:
      return "ask";
    case Role::answer:
      return "answer";
    case Role::refusal:
      return "refusal";
    case Role::notice:
      return "notice";
  }
  return "";
}

/// Characters as a person would write them, if most of them are letters; else empty.
std::string as_text(std::span<const std::uint8_t> wire) {
  std::string text;
  std::size_t odd = 0;
  for (const std::uint8_t byte : wire) {
    if (byte == '\r') {
      text += "\\r";
    } else if (byte == '\n') {
      text += "\\n";
    } else if (byte >= 0x20 && byte < 0x7F) {
      text += static_cast<char>(byte);
    } else {
      text += fmt::format("\\x{:02x}", byte);
      ++odd;
    }
  }
  return 8 * odd < wire.size() ? text : "";
}

std::string damage_text(Damage damage) {
  switch (damage) {
    case Damage::none:
      return "good";
    case Damage::check:
      return "a check does not agree";
    case Damage::too_short:
      return "too short";
    case Damage::too_long:
      return "too long";
    case Damage::malformed:
      return "no frame of this bus";
  }
  return "";
}

std::string title_of(const Protocol& protocol, const FrameLook& look) {
  const BusDescription& bus = protocol.description();
  const Spelled& spelled = look.spelled;
  std::string title = role_name(spelled.role);
  if (spelled.topic) {
    title += ", " + bus.topics[*spelled.topic].name;
  } else if (!protocol.names_topic(spelled.frame)) {
    title += ", names no topic";
  } else {
    title += ", topic not described";
  }
  if (spelled.shape != 0) title += ", shape " + bus.shapes[spelled.shape - 1].name;
  return title;
}

std::string value_text(const SpelledPart& part) {
  if (!part.raw) return "";
  std::string text =
      part.what == SpelledPart::What::check ? fmt::format("{:#x}", *part.raw) : std::to_string(*part.raw);
  if (part.value) text = fmt::format("{}{}{}", *part.value, part.unit.empty() ? "" : " ", part.unit);
  if (part.value && *part.value != static_cast<std::int64_t>(*part.raw)) text += fmt::format(" (raw {})", *part.raw);
  return text;
}

std::string bits_text(const SpelledPart& part) {
  if (part.bit % 8 == 0 && part.bits % 8 == 0) return "";
  const std::size_t from = 7 - part.bit % 8;
  if (part.bit % 8 + part.bits > 8) return fmt::format("{} bits", part.bits);
  const std::size_t to = from + 1 - part.bits;
  return from == to ? fmt::format("bit {}", from) : fmt::format("bits {}..{}", from, to);
}

std::string part_rows(const SpelledPart& part, std::size_t before) {
  const std::size_t first = part.bit / 8;
  // Fields that share a byte show it once.
  const std::string shown = part.bytes.size() == 1 && first + 1 == before ? "" : hex_of(part.bytes, bytes_in_row);
  const std::string verdict =
      part.what == SpelledPart::What::check && part.raw && part.wrong.empty() ? "good" : bits_text(part);
  std::string name =
      part.what == SpelledPart::What::rest ? (part.wrong.empty() ? "filling" : "bytes left over") : part.name;
  if (part.what == SpelledPart::What::rest && part.bits == 0) name = "";
  std::string row = fmt::format("{} {:>4}  {:<{}} {} {}", part.wrong.empty() ? ' ' : '!', first, shown,
                                3 * bytes_in_row + 2, fitted(name, name_width), value_text(part));
  if (!verdict.empty()) row = fmt::format("{:<{}} {}", row, 68, verdict);
  while (row.ends_with(' ')) row.pop_back();
  row += '\n';
  if (!part.wrong.empty()) row += paragraph(8, "", part.wrong);
  return row;
}

}  // namespace

std::string frame_text(const Protocol& protocol, const FrameLook& look) {
  std::string out;
  if (look.has_content) {
    out += fmt::format("{} ({})\n", harmless(title_of(protocol, look)), counted(look.wire.size(), "character"));
  } else {
    out += fmt::format("{}: {}\n", counted(look.wire.size(), "character"), damage_text(look.damage));
  }
  for (std::size_t at = 0; at < look.wire.size(); at += bytes_in_line) {
    const auto rest = std::span(look.wire).subspan(at);
    out += "  " + hex_of(rest.first(std::min(rest.size(), bytes_in_line)), bytes_in_line) + "\n";
  }
  const std::string text = as_text(look.wire);
  if (!text.empty() && text.size() <= page_width() - 2) out += "  " + text + "\n";
  if (!look.has_content) {
    return out + paragraph(2, "", fmt::format("Nothing can be read: {}.", look.trouble));
  }
  out += fmt::format("\n  byte  {:<{}} {} value\n", "bytes", 3 * bytes_in_row + 2, fitted("part", name_width));
  std::size_t before = 0;
  for (const SpelledPart& part : look.spelled.parts) {
    out += part_rows(part, before);
    before = std::min((part.bit + part.bits + 7) / 8, look.content.size());
  }
  out += '\n';
  if (fits(look)) return out + "  Everything fits.\n";
  const auto at = wrong_at(protocol, look);
  if (look.spelled.first_wrong) {
    const SpelledPart& part = look.spelled.parts[*look.spelled.first_wrong];
    const std::string where = at ? fmt::format("Does not fit from character {} on", *at)
                                 : fmt::format("Does not fit from byte {} of the content on", part.bit / 8);
    out += paragraph(2, "", fmt::format("{}{}{}: {}.", where, part.name.empty() ? "" : ", ", part.name, part.wrong));
  } else {
    out += paragraph(2, "", fmt::format("A receiver takes it for damaged: {}.", damage_text(look.damage)));
  }
  return out;
}

}  // namespace hopbench
