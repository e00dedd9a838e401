#include "bus/wire_misfits.h"

#include <algorithm>
#include <set>
#include <string_view>

#include "bus/byte_values.h"
#include "bus/faults.h"
#include "bus/frame_plan.h"
#include "bus/stuffing.h"

namespace hopbench {
namespace {

constexpr std::size_t most_named = 4;

std::string line_format(const LineCoding& line) {
  const std::string stop = line.stop_half_bits == 3 ? "1.5" : line.stop_half_bits == 4 ? "2" : "1";
  return std::to_string(line.data_bits) + "NEO"[static_cast<std::size_t>(line.parity)] + stop;
}

std::string byte_text(std::uint8_t byte) {
  constexpr std::string_view digits = "0123456789abcdef";
  return {digits[byte >> 4U], digits[byte & 15U]};
}

/// Calls visit(bytes) for each kind of frame that the bus has.
template <class Visit>
void each_frame(const BusDescription& bus, Visit&& visit) {
  const bool refuses =
      bus.roles.refusal_mark || std::any_of(bus.roles.role_codes.begin(), bus.roles.role_codes.end(),
                                            [](const auto& each) { return each.first == Role::refusal; });
  for (std::size_t topic = 0; topic < bus.topics.size(); ++topic) {
    visit(bytes_of(bus, topic, Role::ask));
    visit(bytes_of(bus, topic, Role::answer));
    if (refuses) visit(bytes_of(bus, topic, Role::refusal));
  }
}

/// What framing itself puts on the line.
void check_framing_bytes(const BusDescription& bus, std::uint32_t limit, const std::string& carried,
                         std::vector<Misfit>& misfits) {
  const FramingSpec& framing = bus.framing;
  const auto marker = [&](const std::vector<std::uint8_t>& bytes, const char* leaf) {
    const auto beyond = std::find_if(bytes.begin(), bytes.end(), [&](std::uint8_t byte) { return byte >= limit; });
    if (beyond != bytes.end())
      misfits.push_back({leaf, "the marker has the byte " + byte_text(*beyond) + carried + "; choose another"});
  };
  marker(framing.start, "framing.start");
  marker(framing.end, "framing.end");
  if (framing.hex_text && limit <= 'F') {
    misfits.push_back(
        {"framing.hex_text", "hexadecimal digits as text go up to 46" + carried + "; use 7 or 8 data bits"});
  }
  if (framing.kind == FramingKind::slip || (framing.kind == FramingKind::hdlc && limit <= 0x7E)) {
    const bool slip = framing.kind == FramingKind::slip;
    misfits.push_back({"framing.kind", std::string(slip ? "SLIP" : "HDLC") + " ends frames with " +
                                           (slip ? "c0" : "7e") + carried +
                                           "; use 8 data bits, or MARKED with a smaller marker"});
  }
  if (framing.kind == FramingKind::cobs) {
    std::size_t most = 0;
    for (std::size_t shape = 0; shape <= bus.shapes.size(); ++shape) most = std::max(most, FramePlan(bus, shape).most);
    if (std::min<std::size_t>(most, 254) + 1 >= limit) {
      misfits.push_back({"framing.max_bytes", "COBS sends the length of what lies between two zeros, up to " +
                                                  std::to_string(std::min<std::size_t>(most, 254) + 1) + " here" +
                                                  carried + "; write max_bytes: " + std::to_string(limit - 2) +
                                                  " or less"});
    }
  }
}

std::string either(const std::vector<std::string>& choices) {
  std::string text;
  for (std::size_t i = 0; i < choices.size(); ++i) {
    text += (i == 0 ? "" : i + 1 == choices.size() ? " or " : ", ") + choices[i];
  }
  return text;
}

/// What would be right.
std::string remedy(const BusDescription& bus, const ByteValues::Piece& piece) {
  const std::uint32_t bits = bus.line.data_bits;
  const std::string narrow = std::to_string(bits);
  if (piece.fixed) return "; choose a value without it";
  std::vector<std::string> choices;
  if (piece.path.ends_with("check")) {
    choices = {"take EXCLUSIVE_OR over such characters", "a sum of " + narrow + " bits",
               "a CRC of " + narrow + " bits"};
  } else {
    if (piece.bits <= 8)
      choices.push_back("make it " + narrow + " bits behind a constant 0 of " + std::to_string(8 - bits));
    if (bits == 7) choices.push_back("write it as text (digits: HEX_TEXT or DECIMAL_TEXT, 8 bits a digit)");
    if (bits == 6) choices.push_back("write it as text (digits: DECIMAL_TEXT, 8 bits a digit)");
  }
  if (bits == 7 && bus.framing.kind == FramingKind::marked) choices.push_back("use hex_text framing");
  choices.push_back("use 8 data bits");
  return "; " + either(choices);
}

}  // namespace

void check_characters(const BusDescription& bus, std::vector<Misfit>& misfits) {
  if (bus.line.data_bits >= 8) return;
  const std::uint32_t limit = 1U << bus.line.data_bits;
  const std::string carried = ", and a character of this line (" + line_format(bus.line) + ") carries only " +
                              std::to_string(bus.line.data_bits) + " bits";
  check_framing_bytes(bus, limit, carried, misfits);
  if (bus.framing.hex_text) return;
  std::set<std::string> told;
  each_frame(bus, [&](const std::vector<ByteValues>& bytes) {
    for (const ByteValues& byte : bytes) {
      const std::uint8_t ones = ones_of(byte.values);
      for (std::uint32_t bit = bus.line.data_bits; bit < 8; ++bit) {
        if ((ones >> bit & 1U) == 0) continue;
        const ByteValues::Piece& piece = byte.piece_at(static_cast<std::uint8_t>(1U << bit));
        if (!told.insert(piece.path).second) continue;
        misfits.push_back({piece.path, quoted(piece.name) + (piece.fixed ? " is sent with" : " has") +
                                           (bit == 7 ? " an 8th" : " a " + std::to_string(bit + 1) + "th") +
                                           " bit in a byte" + carried + remedy(bus, piece)});
      }
    }
  });
}

void check_markers(const BusDescription& bus, std::vector<Misfit>& misfits) {
  const FramingSpec& framing = bus.framing;
  if (framing.kind != FramingKind::marked || framing.hex_text) return;
  const bool by_end = !framing.end.empty();
  const std::vector<std::uint8_t>& marker = by_end ? framing.end : framing.start;
  std::vector<std::string> names;
  each_frame(bus, [&](std::vector<ByteValues> bytes) {
    const std::size_t content = bytes.size();
    for (const std::uint8_t byte : marker) {
      bytes.emplace_back().values.set(byte);
      bytes.back().pieces.push_back({});
    }
    for (std::size_t i = 0; i < content; ++i) {
      std::size_t same = 0;
      while (same < marker.size() && i + same < bytes.size() && bytes[i + same].values.test(marker[same])) ++same;
      const std::string& name = bytes[i].pieces.front().name;
      if (same == marker.size() && std::find(names.begin(), names.end(), name) == names.end()) names.push_back(name);
    }
  });
  if (names.empty()) return;
  if (names.size() > most_named) {
    const std::size_t more = names.size() - most_named;
    names.resize(most_named);
    names.push_back(std::to_string(more) + " more");
  }
  const std::string listed = either(names);
  std::string shown;
  for (const std::uint8_t byte : marker) shown += (shown.empty() ? "" : " ") + byte_text(byte);
  misfits.push_back(
      {by_end ? "framing.end" : "framing.start",
       "a value of " + shown + " in " + listed + " looks like the " + (by_end ? "end" : "next start") +
           " marker: such a frame is cut there and lost; hex_text: true, digits as text, or a framing that "
           "stuffs (COBS, SLIP, HDLC) keeps them apart",
       false});
}

}  // namespace hopbench
