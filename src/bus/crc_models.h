// Common models of cyclic redundancy checks by their published names.
//
// Names, models and check values: G. Cook, "Catalogue of parametrised CRC algorithms" (reveng.sourceforge.io). Models
// whose names there stand for a maker or a product go by another of their names, or are left out.
#pragma once

#include <cstdint>
#include <span>
#include <string_view>

#include "bus/crc.h"

namespace hopbench {

struct NamedCrc {
  std::string_view name;
  std::string_view other_name;  // by which it is known too; may be empty
  CrcModel model;
  std::uint64_t check = 0;  // over the nine characters "123456789"
};

/// By width, then by name.
[[nodiscard]] std::span<const NamedCrc> named_crcs();
/// By either name; null if none is called so.
[[nodiscard]] const NamedCrc* crc_named(std::string_view name);
/// The published name of a model; null if it has none here.
[[nodiscard]] const NamedCrc* name_of_crc(const CrcModel& model);

}  // namespace hopbench
