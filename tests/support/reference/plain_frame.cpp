#include "support/reference/plain_frame.h"

#include <numeric>

namespace hopbench::reference {
namespace {

void put(Bytes& bytes, std::uint64_t value, std::uint32_t count, bool little_endian) {
  for (std::uint32_t i = 0; i < count; ++i) {
    const std::uint32_t shift = 8 * (little_endian ? i : count - 1 - i);
    bytes.push_back(static_cast<std::uint8_t>(value >> shift));
  }
}

std::uint64_t check_value(PlainCheck check, const Bytes& covered) {
  switch (check) {
    case PlainCheck::crc16_en13757:
      return plain_crc(covered, 16, 0x3D65, 0, false, 0xFFFF);
    case PlainCheck::crc16_modbus:
      return plain_crc(covered, 16, 0x8005, 0xFFFF, true, 0);
    case PlainCheck::crc8_opensafety:
      return plain_crc(covered, 8, 0x2F, 0, false, 0);
    case PlainCheck::sum8:
      return std::accumulate(covered.begin(), covered.end(), 0U) & 0xFFU;
    case PlainCheck::negated_sum8:
      return (0x100000U - std::accumulate(covered.begin(), covered.end(), 0U)) & 0xFFU;
    case PlainCheck::exclusive_or:
      return std::accumulate(covered.begin(), covered.end(), 0U, [](unsigned a, unsigned b) { return a ^ b; });
  }
  return 0;
}

std::uint32_t check_bytes(PlainCheck check) {
  return check == PlainCheck::crc16_en13757 || check == PlainCheck::crc16_modbus ? 2 : 1;
}

Bytes cobs(const Bytes& content) {  // Cheshire and Baker 1999: each zero becomes the distance to the next one
  Bytes made;
  std::size_t i = 0;
  while (i <= content.size()) {
    std::size_t end = i;
    while (end < content.size() && content[end] != 0 && end - i < 254) ++end;
    made.push_back(static_cast<std::uint8_t>(end - i + 1));
    made.insert(made.end(), content.begin() + static_cast<std::ptrdiff_t>(i),
                content.begin() + static_cast<std::ptrdiff_t>(end));
    if (end - i == 254 && end == content.size()) break;  // a full last block needs nothing behind it
    i = end - i == 254 ? end : end + 1;
  }
  return made;
}

Bytes escaped(const Bytes& content, std::uint8_t boundary, std::uint8_t escape, std::uint8_t for_boundary,
              std::uint8_t for_escape) {
  Bytes made;
  for (const std::uint8_t byte : content) {
    if (byte == boundary || byte == escape) {
      made.push_back(escape);
      made.push_back(byte == boundary ? for_boundary : for_escape);
    } else {
      made.push_back(byte);
    }
  }
  return made;
}

Bytes between(bool leading, std::uint8_t boundary, Bytes inside) {
  if (leading) inside.insert(inside.begin(), boundary);
  inside.push_back(boundary);
  return inside;
}

}  // namespace

std::uint64_t plain_crc(const Bytes& bytes, unsigned width, std::uint64_t poly, std::uint64_t init, bool reflected,
                        std::uint64_t xorout) {
  const std::uint64_t top = std::uint64_t{1} << (width - 1);
  std::uint64_t sum = init;
  for (const std::uint8_t byte : bytes) {
    for (unsigned i = 0; i < 8; ++i) {
      const bool bit = ((byte >> (reflected ? i : 7 - i)) & 1U) != 0;
      const bool out = (sum & top) != 0;
      sum = (sum << 1U) & (2 * top - 1);
      if (bit != out) sum ^= poly;
    }
  }
  if (reflected) {
    std::uint64_t turned = 0;
    for (unsigned i = 0; i < width; ++i) turned |= ((sum >> i) & 1U) << (width - 1 - i);
    sum = turned;
  }
  return sum ^ xorout;
}

Bytes content(const PlainBus& bus, const PlainFrame& frame) {
  Bytes all;
  Bytes unchanged;  // what no node changes on the way
  const auto add = [&](std::uint64_t value, std::uint32_t bytes, bool changes) {
    put(all, value, bytes, bus.little_endian);
    if (!changes) put(unchanged, value, bytes, bus.little_endian);
  };
  Bytes payload = frame.payload;
  if (bus.framing == PlainFraming::fixed) payload.resize(plain_fixed_payload, 0);
  if (bus.sized()) add(0xB5, 1, false);
  if (bus.passes) add(frame.passes, 1, true);
  if (bus.role_field()) add(static_cast<std::uint8_t>(frame.role), 1, false);
  add(frame.to, 1, bus.distance);
  if (bus.source) add(frame.from, 1, false);
  if (bus.sized()) add(payload.size(), 1, false);
  if (bus.framing == PlainFraming::sized_checked)
    all.push_back(static_cast<std::uint8_t>(plain_crc(all, 8, 0x31, 0, true, 0)));
  add(frame.number, bus.number_bytes, false);
  const bool marked = !bus.role_field() && frame.role == PlainRole::refusal;
  add(frame.topic | (marked ? 0x80U : 0U), 1, false);
  all.insert(all.end(), payload.begin(), payload.end());
  unchanged.insert(unchanged.end(), payload.begin(), payload.end());
  put(all, check_value(bus.check, bus.check_covers_way ? all : unchanged), check_bytes(bus.check), bus.little_endian);
  return all;
}

Bytes characters(const PlainBus& bus, const Bytes& content) {
  Bytes made;
  switch (bus.framing) {
    case PlainFraming::slip:
      return between(bus.leading_boundary, 0xC0, escaped(content, 0xC0, 0xDB, 0xDC, 0xDD));  // RFC 1055
    case PlainFraming::hdlc:
      return between(bus.leading_boundary, 0x7E, escaped(content, 0x7E, 0x7D, 0x5E, 0x5D));  // RFC 1662, 4.2
    case PlainFraming::cobs:
      return between(bus.leading_boundary, 0x00, cobs(content));
    case PlainFraming::marked:
    case PlainFraming::open_marked:
      made = {0xFA, 0xFB};
      made.insert(made.end(), content.begin(), content.end());
      if (bus.framing == PlainFraming::marked) made.insert(made.end(), {0xFE, 0xFF, 0xFD});
      return made;
    case PlainFraming::hex_text:
      made = {':'};
      for (const std::uint8_t byte : content) {
        for (const int digit : {byte >> 4, byte & 15})
          made.push_back(static_cast<std::uint8_t>(digit < 10 ? '0' + digit : 'A' + digit - 10));
      }
      made.insert(made.end(), {'\r', '\n'});
      return made;
    default:
      return content;
  }
}

bool head_hidden(const PlainBus& bus) {
  return bus.framing == PlainFraming::slip || bus.framing == PlainFraming::hdlc || bus.framing == PlainFraming::cobs ||
         bus.framing == PlainFraming::hex_text || bus.framing == PlainFraming::marked ||
         bus.framing == PlainFraming::open_marked;
}

std::size_t head_characters(const PlainBus& bus) {
  if (head_hidden(bus)) return 1;
  std::size_t bytes = bus.sized() ? 1 : 0;
  if (bus.passes) ++bytes;
  if (bus.role_field()) ++bytes;
  ++bytes;  // destination
  // The sender, where nothing else tells an ask from an answer; sender, size and check, where the header has a check.
  if (bus.framing == PlainFraming::sized_checked) return bytes + (bus.source ? 3 : 2);
  if (!bus.role_field() && bus.source) ++bytes;
  return bytes;
}

}  // namespace hopbench::reference
