// A protocol as data: what a bus description says, in plain structs. proto/bus.proto is the same as
// text; text/ turns one into the other; bus/protocol.h makes it usable.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "bus/crc.h"

namespace hopbench {

enum class Parity : std::uint8_t { none, even, odd };

/// One character on the wire.
struct LineCoding {
  std::uint32_t baud = 9600;
  std::uint32_t data_bits = 8;  // 5..8
  Parity parity = Parity::none;
  std::uint32_t stop_half_bits = 2;  // 2, 3 or 4

  /// Bits of one character in half bits (a stop of one and a half is 3).
  [[nodiscard]] constexpr std::uint32_t char_half_bits() const {
    return 2 * (1 + data_bits + (parity == Parity::none ? 0 : 1)) + stop_half_bits;
  }
};

enum class Digits : std::uint8_t { binary, bcd, decimal_text, hex_text };

/// value = (raw * scale_num) / scale_den + offset, in `unit`. A fraction, so that nothing is rounded by luck.
struct Scale {
  std::int64_t num = 1;
  std::uint64_t den = 1;
  std::int64_t offset = 0;
};

/// One field of the header or of a payload.
struct FieldSpec {
  std::string name;
  std::uint32_t bits = 8;  // 1..64; for digits a multiple of 4 (bcd) or 8 (text)
  bool little_endian = false;
  bool is_signed = false;
  Digits digits = Digits::binary;
  Scale scale;
  std::string unit;
  std::optional<std::uint64_t> constant;
  bool sent_only = false;       // the constant is sent, but other values are accepted (a revision number)
  std::string quantity;         // which quantity of the node fills it ("" none), see scenario/quantity.h
  std::string copied_from_ask;  // name of the ask's field whose raw value it repeats ("" none)
  std::string present_if;       // name of an earlier field of the same layout ("" always present)
  std::uint64_t present_value = 0;
  std::optional<std::uint64_t> in_answers;  // header fields: what they hold in answers, if not what the ask had
  // Decimal text of no fixed width: up to so many digits, as many as the number takes; 0: the width is `bits`. `bits`
  // is then 64, the width of the raw number and not of the text.
  std::uint32_t up_to_digits = 0;
  std::uint32_t decimals = 0;  // with up_to_digits: digits after a point, which does not count in the raw number

  [[nodiscard]] bool varies_in_width() const { return up_to_digits != 0; }
};

/// A run of fields that repeats: `times` fixed, or `count_field` names an earlier field, or to the end.
/// The number of repetitions is the count field's *value*, by its scale: a field that counts bytes of 16-bit
/// registers has the scale 1/2.
struct GroupSpec {
  std::string name;
  std::uint32_t times = 0;  // 0: not fixed
  std::string count_field;  // "" : not counted
  bool to_end = false;
  std::vector<FieldSpec> fields;
};

/// What a payload is made of, in wire order. Exactly one of the two is used.
struct LayoutItem {
  std::optional<FieldSpec> field;
  std::optional<GroupSpec> group;
};
using Layout = std::vector<LayoutItem>;

enum class SumKind : std::uint8_t {
  crc,
  sum,
  negated_sum,
  exclusive_or,
  ones_sum,          // of words, carries added at the low end again
  negated_ones_sum,  // its complement (RFC 1071)
  fletcher,          // two such sums (RFC 1146)
  fletcher_256,      // two sums of bytes, carries lost
};

/// A check value, standing where it stands on the wire.
struct CheckSpec {
  std::string name;
  SumKind kind = SumKind::crc;
  CrcModel crc;  // for kind crc
  // Width: sums 5 to 8, 16, 32, 64; exclusive_or 8; sums with carries added again 8, 16, 32; fletcher 16, 32; ignored
  // for crc.
  std::uint32_t bits = 8;
  bool little_endian = false;
  Digits digits = Digits::binary;   // how the value stands on the wire; digits: as many as the largest value needs
  bool over_text = false;           // over the characters as sent (hex text framing), not over the bytes they stand for
  std::vector<std::string> covers;  // names of parts, in wire order; empty: all parts before it

  [[nodiscard]] std::uint32_t width() const { return kind == SumKind::crc ? crc.width : bits; }
};

/// The frame, part by part in wire order: header fields, the payload, checks.
struct PartSpec {
  std::optional<FieldSpec> field;
  std::optional<CheckSpec> check;
  bool payload = false;
  // Payload: after so many of its bytes, and after what is left at the end, stands a check over just these. 0: no such.
  std::uint32_t block_bytes = 0;
  std::optional<CheckSpec> block_check;
};

enum class FramingKind : std::uint8_t {
  sized,    // a marker, and a field that tells the size
  cobs,     // consistent overhead byte stuffing, 0x00 between frames
  slip,     // RFC 1055
  hdlc,     // RFC 1662 octet stuffing
  marked,   // start and end markers (either may be empty, not both)
  fixed,    // always the same number of bytes
  silence,  // a pause on the line ends a frame
};

struct FramingSpec {
  FramingKind kind = FramingKind::sized;
  // sized: the marker is the first part of the frame (a constant field); the size field is one of the
  // header fields (roles.size). total frame bytes = value * size_unit + size_plus.
  std::int64_t size_plus = 0;
  std::uint32_t size_unit = 1;
  std::string size_again;                      // name of a second header field that repeats the size ("" none)
  std::string header_check;                    // check that must be good before a header is believed ("" none)
  std::vector<std::uint8_t> start;             // marked
  std::vector<std::uint8_t> end;               // marked
  bool hex_text = false;                       // marked: two ASCII digits a byte between the markers
  std::uint32_t fixed_bytes = 0;               // fixed
  bool leading_boundary = false;               // cobs, slip, hdlc: boundary before the frame as well as after
  std::uint32_t silence_char_tenths = 0;       // silence: pause in tenths of a character time...
  std::uint32_t silence_least_us = 0;          // ...and at least this long...
  std::uint32_t silence_fixed_above_baud = 0;  // ...and above this speed exactly that long; 0: no such rule
  std::uint32_t abandon_char_tenths = 0;       // silence that makes a receiver forget half a frame; 0 never
  std::uint32_t max_bytes = 0;                 // longest frame content; 0: max_frame_bytes
};

enum class Role : std::uint8_t { ask, answer, refusal, notice };
/// A further shape that frames can have, told from the others by its first part, a constant.
struct ShapeSpec {
  std::string name;
  std::vector<PartSpec> parts;  // fields with a name that another shape has are the same field
  std::optional<Role> role;     // what frames of this shape are, if no field of theirs says it
};

enum class TellRole : std::uint8_t { by_field, by_position, by_pending_ask };

/// A pattern in one field: (field & mask) == value.
struct MarkSpec {
  std::string field;
  std::uint64_t mask = 0;
  std::uint64_t value = 0;
};

/// Which part means what to the chain. Names of header fields; "" where the bus has no such thing.
struct RolesSpec {
  std::string destination;  // an address...
  std::string distance;     // ...or hops still to go: counted down, 0 means "here"
  std::vector<std::uint64_t> broadcast;
  std::optional<std::uint64_t> first_unenrolled;  // address that the first node without an address takes
  std::uint64_t controller_address = 0;
  std::string passes_left;  // taken down by one at each forwarding node
  std::string source;
  std::string exchange;  // names the exchange; the answer repeats it
  std::string topic;
  std::string size;
  TellRole tell_role = TellRole::by_field;
  std::string role_field;  // by_field
  std::vector<std::pair<Role, std::uint64_t>> role_codes;
  std::optional<MarkSpec> refusal_mark;                              // e.g. the top bit of the topic
  std::string refusal_code_field;                                    // a field of the refusal layout
  std::vector<std::pair<std::string, std::uint64_t>> refusal_codes;  // reason -> code, see refusal_reasons
  Layout refusal;                                                    // payload of a refusal
};

enum class CheckRepair : std::uint8_t {
  if_good,        // made anew, but only if it was good when the frame came in
  by_difference,  // adjusted by what was changed: a bad check stays bad
  untouched,
};
enum class Unclaimed : std::uint8_t { returns, last_node_stops_it };

struct RewriteSpec {
  std::string field;
  std::int64_t add = 0;
};

/// What a node does with a frame that is not for it.
struct ForwardSpec {
  std::vector<RewriteSpec> rewrite;
  CheckRepair repair = CheckRepair::if_good;
  Unclaimed unclaimed = Unclaimed::returns;
  bool broadcast_answered = false;
  std::uint32_t least_gap_char_tenths = 0;  // pause that a sender leaves before each frame
  bool pass_unknown_topic = true;           // frames of a topic that a node does not know are passed on
};

/// A span of registers that shows one quantity of the node.
struct RegisterSpec {
  std::uint32_t first = 0;
  std::uint32_t count = 1;
  std::string quantity;
  std::uint32_t index = 0;  // index of the quantity in the first register
  Scale scale;              // quantity value -> register value by the inverse of this
  bool is_signed = false;
  bool writable = false;
};

/// One thing that can be asked.
struct TopicSpec {
  std::string name;
  std::uint64_t code = 0;
  std::optional<std::uint64_t> answer_code;  // if answers have another code than asks
  std::string ask_shape;                     // "": the shape of `parts`
  std::string answer_shape;
  bool changes = true;  // unmarked counts as changing
  Layout ask;
  Layout answer;
  // For answers that the ask measures out (registers): names of the ask's fields.
  std::string first_field;
  std::string count_field;   // "": one register
  std::string values_group;  // group of the answer (read) or of the ask (write) that holds the registers
};

struct BusDescription {
  std::string name;
  LineCoding line;
  FramingSpec framing;
  std::vector<PartSpec> parts;    // the first shape
  std::vector<ShapeSpec> shapes;  // further ones; shape number n is shapes[n - 1]
  RolesSpec roles;
  ForwardSpec forward;
  std::vector<TopicSpec> topics;
  std::vector<RegisterSpec> registers;  // for topics with first_field
};

}  // namespace hopbench
