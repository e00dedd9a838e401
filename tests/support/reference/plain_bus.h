// A small family of invented buses, each said twice: as the choices below, by which the reference puts frames together
// by hand, and as a bus description, by which the chain does. What both agree on was worked out twice.
#pragma once

#include <cstdint>
#include <vector>

#include "bus/description.h"

namespace hopbench::reference {

enum class PlainFraming : std::uint8_t {
  sized,          // marker B5, the payload's bytes in a size field
  sized_checked,  // the same, with an 8-bit check over the header
  fixed,          // always plain_fixed_payload bytes of payload
  marked,         // FA FB before, FE FF FD after
  open_marked,    // FA FB before, and a pause behind
  hex_text,       // ":" before, CR LF after, two digits a byte
  slip,
  hdlc,
  cobs,
  silence,
};

enum class PlainCheck : std::uint8_t { crc16_en13757, crc16_modbus, crc8_opensafety, sum8, negated_sum8, exclusive_or };

inline constexpr std::uint32_t plain_abandon_char_tenths = 50;

/// In wire order: marker, passes, role, to, from, size, header check, number, topic, payload, check; each only if the
/// bus has it. All are bytes but the number, which may have two.
struct PlainBus {
  PlainFraming framing = PlainFraming::sized;
  LineCoding line;
  bool leading_boundary = false;   // slip, hdlc, cobs
  bool passes = false;             // a count of passes left
  bool distance = false;           // `to` counts hops down
  bool source = true;              // `from` is there
  std::uint32_t number_bytes = 1;  // 0: the bus names no exchange
  bool little_endian = false;      // number and check
  TellRole tell_role = TellRole::by_field;
  PlainCheck check = PlainCheck::sum8;
  bool check_covers_way = false;  // also what changes at each node
  CheckRepair repair = CheckRepair::if_good;
  Unclaimed unclaimed = Unclaimed::returns;
  bool pass_unknown_topic = true;
  std::uint32_t least_gap_char_tenths = 0;
  std::uint32_t silence_char_tenths = 35;
  std::uint32_t silence_least_us = 0;
  std::uint32_t silence_fixed_above_baud = 0;

  [[nodiscard]] bool sized() const { return framing == PlainFraming::sized || framing == PlainFraming::sized_checked; }
  [[nodiscard]] bool ends_by_pause() const {
    return framing == PlainFraming::silence || framing == PlainFraming::open_marked;
  }
  /// Roles are numbers in a field of the header, else a refusal is the top bit of the topic.
  [[nodiscard]] bool role_field() const { return tell_role == TellRole::by_field; }
};

inline constexpr std::uint8_t plain_everyone = 0xF0;
inline constexpr std::uint8_t plain_controller = 0xEE;
inline constexpr std::uint32_t plain_fixed_payload = 40;

/// Codes of the topics, named plate, cells, set_low, limits, echo, extra.
enum PlainTopic : std::uint8_t { plate = 1, cells = 2, set_low = 3, limits = 4, echo = 5, extra = 6 };
const char* name_of_topic(PlainTopic topic);

enum class PlainRole : std::uint8_t { ask = 0x11, answer = 0x12, refusal = 0x13 };
inline constexpr std::uint8_t plain_unknown_topic = 1;
inline constexpr std::uint8_t plain_bad_address = 2;
inline constexpr std::uint8_t plain_bad_value = 3;

/// The same as a bus description.
BusDescription described(const PlainBus& bus);

}  // namespace hopbench::reference
