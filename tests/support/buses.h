// Three bus descriptions that tests share, as code: the bench's own, an open standard, an invented old one.
#pragma once

#include "bus/description.h"

namespace hopbench::buses {

/// The bench's own frame (docs/bus-description.md): sized, header check, end-to-end check, passes left.
/// Topics: nameplate, readings, limits, bleed, line_health, enrol, conditions.
[[nodiscard]] BusDescription bench_frame();

/// Modbus RTU over a serial line (MODBUS over serial line V1.02): silence framing, one check, registers.
/// Topics: read_holding, read_input, write_single, write_several.
[[nodiscard]] BusDescription modbus_rtu();

/// Invented, in the manner of small old buses: eight bytes always, an 8-bit sum, no exchange number.
/// Topics: cell, bleed, board.
[[nodiscard]] BusDescription old_style();

// --- small pieces from which tests build descriptions of their own ----------------------------------
[[nodiscard]] FieldSpec field(std::string name, std::uint32_t bits);
[[nodiscard]] FieldSpec constant(std::string name, std::uint32_t bits, std::uint64_t value);
[[nodiscard]] FieldSpec quantity(std::string name, std::uint32_t bits, std::string quantity, std::string unit = "");
[[nodiscard]] FieldSpec copied(std::string name, std::uint32_t bits, std::string ask_field);
[[nodiscard]] PartSpec part(FieldSpec field);
[[nodiscard]] PartSpec part(CheckSpec check);
[[nodiscard]] PartSpec payload_part();
[[nodiscard]] LayoutItem item(FieldSpec field);
[[nodiscard]] LayoutItem item(GroupSpec group);

}  // namespace hopbench::buses
