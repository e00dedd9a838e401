#include "view/frame_report.h"

#include <fmt/format.h>

#include <algorithm>

namespace hopbench {
namespace {

/// Place in what was given of the character that a finding's tag stands for.
std::vector<std::uint8_t> slice(const std::vector<std::uint8_t>& all, std::size_t from, std::size_t to) {
  return {all.begin() + static_cast<std::ptrdiff_t>(from), all.begin() + static_cast<std::ptrdiff_t>(to)};
}

/// Characters of the framing that stand before the content on the line.
std::size_t before_content(const FramingSpec& framing) {
  return framing.kind == FramingKind::marked ? framing.start.size() : 0;
}

bool is_stuffed(FramingKind kind) {
  return kind == FramingKind::cobs || kind == FramingKind::slip || kind == FramingKind::hdlc;
}

std::string bytes_text(const std::vector<std::uint8_t>& bytes) {
  std::string text;
  for (const std::uint8_t byte : bytes) text += fmt::format("{}{:02x}", text.empty() ? "" : " ", byte);
  return text;
}

/// Why nothing can be read of these characters.
std::string trouble_of(const FramingSpec& framing, const FrameLook& look) {
  if (is_stuffed(framing.kind)) {
    return look.damage == Damage::too_short ? "the boundary that ends a frame does not come" : "the stuffing is broken";
  }
  if (framing.kind != FramingKind::marked) return "no frame begins here";
  const auto& start = framing.start;
  const bool begins = look.wire.size() >= start.size() && std::equal(start.begin(), start.end(), look.wire.begin());
  if (!begins) return "the marker that begins a frame, " + bytes_text(start) + ", does not come";
  const auto& end = framing.end;
  const bool ends = look.wire.size() >= end.size() && std::equal(end.rbegin(), end.rend(), look.wire.rbegin());
  if (!ends && !end.empty()) return "the marker that ends a frame, " + bytes_text(end) + ", does not come";
  return framing.hex_text ? "between the markers stand other characters than pairs of digits 0-9 and A-F"
                          : "what stands between the markers is no frame";
}

FrameLook look_at_finding(const Protocol& protocol, const Finding& finding, const std::vector<std::uint8_t>& all,
                          std::optional<Role> role) {
  FrameLook look;
  look.damage = finding.damage;
  look.wire_at = finding.first_tag;
  look.wire = slice(all, finding.first_tag, std::min<std::size_t>(finding.last_tag + 1, all.size()));
  look.content.assign(finding.content.view().begin(), finding.content.view().end());
  const FramingSpec& framing = protocol.description().framing;
  // What markers stand around has no content if it is damaged: then all there is are its characters.
  const bool marked = framing.kind == FramingKind::marked;
  look.has_content = !look.content.empty() && !(marked && look.content == look.wire) &&
                     !(is_stuffed(framing.kind) && finding.abandoned);
  if (marked && !look.has_content && !framing.hex_text) {
    auto body = look.wire;
    const auto starts = [&] { return std::equal(framing.start.begin(), framing.start.end(), body.begin()); };
    if (body.size() >= framing.start.size() && !framing.start.empty() && starts()) {
      look.content = slice(body, framing.start.size(), body.size());
      look.has_content = true;
    }
  }
  if (look.has_content) look.spelled = spelled_out(protocol, look.content, role);
  if (!look.has_content) look.trouble = trouble_of(framing, look);
  return look;
}

}  // namespace

std::vector<FrameLook> frames_in(const Protocol& protocol, const std::vector<std::vector<std::uint8_t>>& runs,
                                 std::optional<Role> role) {
  const Period period = period_of_baud(protocol.line().baud);
  const Nanos char_time = span_of_bits(protocol.line().char_half_bits(), period) / 2;
  const Nanos silent = std::max({protocol.abandon_silence(period) == never ? 0 : protocol.abandon_silence(period),
                                 protocol.end_silence(period), protocol.least_gap(period)}) +
                       4 * char_time;
  Decoder decoder(protocol, period);
  std::vector<std::uint8_t> all;
  std::vector<Finding> findings;
  std::vector<FrameLook> looks;
  Nanos at = silent;
  const auto take = [&] {
    for (const Finding& finding : findings) looks.push_back(look_at_finding(protocol, finding, all, role));
    findings.clear();
  };
  for (const auto& run : runs) {
    for (const std::uint8_t byte : run) {
      HeardChar character;
      character.byte = byte;
      character.start = at;
      character.end = at += char_time;
      character.tag = static_cast<std::uint32_t>(all.size());
      all.push_back(byte);
      decoder.push(character, findings);
      take();
    }
    at += silent;
    decoder.silent_until(at, findings);
    take();
  }
  // Half a frame of a bus that never forgets one.
  const std::size_t told = looks.empty() ? 0 : looks.back().wire_at + looks.back().wire.size();
  if (!decoder.idle() && told < all.size()) {
    FrameLook rest;
    rest.damage = Damage::too_short;
    rest.wire_at = told;
    rest.wire = slice(all, told, all.size());
    rest.content = rest.wire;
    const FramingSpec& framing = protocol.description().framing;
    rest.has_content = !is_stuffed(framing.kind) && framing.kind != FramingKind::marked;
    if (rest.has_content) rest.spelled = spelled_out(protocol, rest.content, role);
    if (!rest.has_content) rest.trouble = trouble_of(framing, rest);
    looks.push_back(std::move(rest));
  }
  return looks;
}

FrameLook look_at(const Protocol& protocol, std::span<const std::uint8_t> content, std::optional<Role> role) {
  FrameLook look;
  WireBytes wire;
  protocol.wrap(content, wire);
  look.wire.assign(wire.view().begin(), wire.view().end());
  look.content.assign(content.begin(), content.end());
  look.spelled = spelled_out(protocol, content, role);
  look.damage = look.spelled.damage;
  return look;
}

bool fits(const FrameLook& look) {
  return look.damage == Damage::none && look.has_content && !look.spelled.first_wrong;
}

std::optional<std::size_t> wrong_at(const Protocol& protocol, const FrameLook& look) {
  if (fits(look)) return std::nullopt;
  if (!look.has_content || !look.spelled.first_wrong) return look.wire_at;
  const FramingSpec& framing = protocol.description().framing;
  if (is_stuffed(framing.kind)) return std::nullopt;
  const std::size_t byte = look.spelled.parts[*look.spelled.first_wrong].bit / 8;
  return look.wire_at + before_content(framing) + byte * (framing.hex_text ? 2 : 1);
}

}  // namespace hopbench
