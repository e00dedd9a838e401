// Fuzz target: any bytes as characters of any of ten buses, handed over in two ways that must agree.
//
// Input: first byte the bus, second the pauses between characters, the rest one character a byte.
// Build with HOPBENCH_FUZZ; the test suite replays tests/bus/corpus through the same function.
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <memory>
#include <span>
#include <vector>

#include "bus/decoder.h"
#include "bus/protocol.h"
#include "support/buses.h"

namespace hopbench::fuzz {
namespace {

/// The bench's frame with its content unchanged and another framing around it.
BusDescription framed(FramingKind kind, bool second_way) {
  BusDescription bus = buses::bench_frame();
  FramingSpec framing;
  framing.kind = kind;
  framing.max_bytes = 172;
  framing.size_plus = bus.framing.size_plus;
  framing.abandon_char_tenths = 30;
  switch (kind) {
    case FramingKind::cobs:
    case FramingKind::slip:
    case FramingKind::hdlc:
      framing.leading_boundary = second_way;
      break;
    case FramingKind::marked:
      framing.hex_text = second_way;
      framing.start = {':'};
      if (second_way) framing.end = {'\r', '\n'};
      break;
    case FramingKind::sized:
    case FramingKind::fixed:
    case FramingKind::silence:
      break;
  }
  bus.framing = framing;
  return bus;
}

const std::vector<std::unique_ptr<Protocol>>& protocols() {
  static const auto all = [] {
    std::vector<BusDescription> buses{buses::bench_frame(), buses::modbus_rtu(), buses::old_style()};
    for (const auto kind :
         {FramingKind::sized, FramingKind::cobs, FramingKind::slip, FramingKind::hdlc, FramingKind::marked})
      buses.push_back(framed(kind, false));
    for (const auto kind : {FramingKind::cobs, FramingKind::marked}) buses.push_back(framed(kind, true));
    std::vector<std::unique_ptr<Protocol>> made;
    for (const BusDescription& bus : buses) {
      if (!Protocol::faults_of(bus).empty()) std::abort();
      made.push_back(std::make_unique<Protocol>(bus));
    }
    return made;
  }();
  return all;
}

bool same(const Finding& a, const Finding& b) {
  const bool judged = a.damage == Damage::none || a.damage == Damage::check;
  return a.damage == b.damage && a.first_edge == b.first_edge && a.end == b.end && a.known_at == b.known_at &&
         a.chars == b.chars && a.first_tag == b.first_tag && a.last_tag == b.last_tag && a.abandoned == b.abandoned &&
         a.framing_error == b.framing_error && a.content == b.content && (!judged || a.frame == b.frame);
}

void require(bool holds) {
  if (!holds) std::abort();
}

}  // namespace

/// One input; aborts if a promise of the decoder is broken. Returns the number of good frames found.
std::size_t hear(std::span<const std::uint8_t> input) {
  if (input.size() < 2) return 0;
  const Protocol& protocol = *protocols()[input[0] % protocols().size()];
  const std::uint32_t pattern = input[1];
  const Period period = period_of_baud(protocol.line().baud);
  const Nanos char_time = span_of_bits(protocol.line().char_half_bits(), period) / 2;
  Decoder plain(protocol, period);
  Decoder told(protocol, period);
  std::vector<Finding> findings;
  std::vector<Finding> findings_told;
  Nanos now = second;
  std::uint32_t place = 0;
  for (const std::uint8_t byte : input.subspan(2)) {
    ++place;
    // A pause before every (pattern % 16 + 1)th character, of 0 to 15 characters.
    if (pattern % 16 != 0 && place % (pattern % 16 + 1) == 0) now += char_time * (pattern / 16);
    HeardChar character;
    character.byte = byte;
    character.framing_error = byte == 0 && pattern % 3 == 0;
    character.start = now;
    character.end = now + char_time;
    character.tag = place;
    for (const Nanos at : {told.wants_wake(), character.start - 1}) {
      if (at < character.start) told.silent_until(at, findings_told);
    }
    plain.push(character, findings);
    told.push(character, findings_told);
    now = character.end;
  }
  const Nanos end = now + 1000 * second;
  plain.silent_until(end, findings);
  told.silent_until(end, findings_told);
  require(protocol.abandon_silence(period) == never ? true : plain.idle());
  require(findings.size() == findings_told.size());
  std::size_t good = 0;
  for (std::size_t i = 0; i < findings.size(); ++i) {
    const Finding& finding = findings[i];
    require(same(finding, findings_told[i]));
    require(finding.chars > 0 && finding.known_at >= finding.end && finding.content.size() <= max_frame_bytes);
    if (finding.damage != Damage::none) continue;
    ++good;
    // What is good encodes to what was heard, and is read and forwarded without harm.
    Content content;
    protocol.encode(finding.frame, content);
    require(content == finding.content);
    std::vector<PayloadValue> values;
    static_cast<void>(protocol.read(finding.frame, Protocol::Side::ask, values));
    static_cast<void>(protocol.read(finding.frame, Protocol::Side::answer, values));
    Frame forwarded = finding.frame;
    if (protocol.forward(forwarded)) {
      Content expected;
      protocol.encode(forwarded, expected);
      require(protocol.forward_bytes(content) && content == expected);
    }
  }
  return good;
}

}  // namespace hopbench::fuzz

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  hopbench::fuzz::hear({data, size});
  return 0;
}
