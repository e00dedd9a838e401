#include "bus/stuffing.h"

namespace hopbench {
namespace {

constexpr std::uint8_t slip_escape = 0xDB;
constexpr std::uint8_t slip_escaped_end = 0xDC;
constexpr std::uint8_t slip_escaped_escape = 0xDD;
constexpr std::uint8_t hdlc_escape = 0x7D;
constexpr std::uint8_t hdlc_flip = 0x20;
constexpr std::size_t cobs_block = 254;

/// Collects bytes up to the limit of a content and counts all of them.
struct Collector {
  Content& content;
  std::size_t size = 0;
  void add(std::uint8_t byte) {
    content.push_back(byte);
    ++size;
  }
};

void stuff_cobs(std::span<const std::uint8_t> content, WireBytes& wire) {
  std::size_t at = 0;
  for (;;) {
    std::size_t run = 0;
    while (run < cobs_block && at + run < content.size() && content[at + run] != 0) ++run;
    wire.push_back(static_cast<std::uint8_t>(run + 1));
    for (std::size_t i = 0; i < run; ++i) wire.push_back(content[at + i]);
    at += run;
    if (at == content.size()) return;
    if (run == cobs_block) continue;  // a full block stands for no zero
    ++at;                             // the zero that the block stands for; one at the very end needs a last block
  }
}

void stuff_slip(std::span<const std::uint8_t> content, WireBytes& wire) {
  for (const std::uint8_t byte : content) {
    if (byte == boundary_of(Stuffing::slip)) {
      wire.push_back(slip_escape);
      wire.push_back(slip_escaped_end);
    } else if (byte == slip_escape) {
      wire.push_back(slip_escape);
      wire.push_back(slip_escaped_escape);
    } else {
      wire.push_back(byte);
    }
  }
}

void stuff_hdlc(std::span<const std::uint8_t> content, WireBytes& wire) {
  for (const std::uint8_t byte : content) {
    if (byte == boundary_of(Stuffing::hdlc) || byte == hdlc_escape) {
      wire.push_back(hdlc_escape);
      wire.push_back(byte ^ hdlc_flip);
    } else {
      wire.push_back(byte);
    }
  }
}

bool unstuff_cobs(std::span<const std::uint8_t> wire, Collector& out) {
  std::size_t at = 0;
  if (wire.empty()) return false;
  while (at < wire.size()) {
    const std::size_t code = wire[at++];
    if (code == 0) return false;
    for (std::size_t i = 1; i < code; ++i) {
      if (at == wire.size() || wire[at] == 0) return false;
      out.add(wire[at++]);
    }
    if (code <= cobs_block && at < wire.size()) out.add(0);
  }
  return true;
}

bool unstuff_slip(std::span<const std::uint8_t> wire, Collector& out) {
  bool well = true;
  for (std::size_t at = 0; at < wire.size(); ++at) {
    std::uint8_t byte = wire[at];
    if (byte == boundary_of(Stuffing::slip)) return false;
    if (byte == slip_escape) {
      if (++at == wire.size()) return false;
      byte = wire[at];
      if (byte == slip_escaped_end)
        byte = boundary_of(Stuffing::slip);
      else if (byte == slip_escaped_escape)
        byte = slip_escape;
      else
        well = false;
    }
    out.add(byte);
  }
  return well;
}

bool unstuff_hdlc(std::span<const std::uint8_t> wire, Collector& out) {
  for (std::size_t at = 0; at < wire.size(); ++at) {
    std::uint8_t byte = wire[at];
    if (byte == boundary_of(Stuffing::hdlc)) return false;
    if (byte == hdlc_escape) {
      if (++at == wire.size()) return false;  // escape and flag: the sender gave the frame up
      byte = wire[at] ^ hdlc_flip;
    }
    out.add(byte);
  }
  return true;
}

}  // namespace

void stuff(Stuffing stuffing, std::span<const std::uint8_t> content, WireBytes& wire) {
  switch (stuffing) {
    case Stuffing::cobs:
      return stuff_cobs(content, wire);
    case Stuffing::slip:
      return stuff_slip(content, wire);
    case Stuffing::hdlc:
      return stuff_hdlc(content, wire);
  }
}

std::size_t stuffed_size(Stuffing stuffing, std::span<const std::uint8_t> content) {
  WireBytes wire;
  stuff(stuffing, content, wire);
  return wire.size();
}

bool unstuff(Stuffing stuffing, std::span<const std::uint8_t> wire, Content& content, std::size_t& size) {
  content.clear();
  Collector out{content};
  bool well = false;
  switch (stuffing) {
    case Stuffing::cobs:
      well = unstuff_cobs(wire, out);
      break;
    case Stuffing::slip:
      well = unstuff_slip(wire, out);
      break;
    case Stuffing::hdlc:
      well = unstuff_hdlc(wire, out);
      break;
  }
  size = out.size;
  return well;
}

void hex_text(std::span<const std::uint8_t> content, WireBytes& wire) {
  for (const std::uint8_t byte : content) {
    wire.push_back(hex_character(byte >> 4U));
    wire.push_back(hex_character(byte & 0x0FU));
  }
}

bool from_hex_text(std::span<const std::uint8_t> text, Content& content) {
  content.clear();
  std::uint32_t high = 0;
  for (std::size_t at = 0; at < text.size(); ++at) {
    const std::uint8_t character = text[at];
    std::uint32_t digit = 0;
    if (character >= '0' && character <= '9')
      digit = character - std::uint32_t{'0'};
    else if (character >= 'A' && character <= 'F')
      digit = character - std::uint32_t{'A'} + 10;
    else
      return false;
    if (at % 2 == 0)
      high = digit;
    else if (!content.push_back(static_cast<std::uint8_t>(high << 4U | digit)))
      return false;
  }
  return text.size() % 2 == 0;
}

}  // namespace hopbench
