#include "scenario/wire_length.h"

namespace hopbench {
namespace {

std::uint64_t boundaries(const FramingSpec& framing) { return framing.leading_boundary ? 2 : 1; }

}  // namespace

std::uint64_t least_chars(const Protocol& protocol, const Frame& frame) {
  const FramingSpec& framing = protocol.description().framing;
  const std::uint64_t content = protocol.content_bytes(frame);
  switch (framing.kind) {
    case FramingKind::cobs:
      return content + 1 + boundaries(framing);
    case FramingKind::slip:
    case FramingKind::hdlc:
      return content + boundaries(framing);
    case FramingKind::sized:
    case FramingKind::marked:
    case FramingKind::fixed:
    case FramingKind::silence:
      break;
  }
  return protocol.wire_chars(frame);
}

std::uint64_t most_chars(const Protocol& protocol, const Frame& frame) {
  const FramingSpec& framing = protocol.description().framing;
  const std::uint64_t content = protocol.content_bytes(frame);
  switch (framing.kind) {
    case FramingKind::cobs:
      // S. Cheshire, M. Baker, "Consistent Overhead Byte Stuffing", 1999: one byte, and one for each 254.
      return content + 1 + content / 254 + boundaries(framing);
    case FramingKind::slip:
    case FramingKind::hdlc:
      return 2 * content + boundaries(framing);  // RFC 1055, RFC 1662: each byte may need two
    case FramingKind::sized:
    case FramingKind::marked:
    case FramingKind::fixed:
    case FramingKind::silence:
      break;
  }
  return protocol.wire_chars(frame);
}

}  // namespace hopbench
