// What is missing of a capture, in words.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "record/capture_damage.h"

namespace hopbench {

/// "one of its files is missing, 2 hold another part of it than their names say: the first is number 3"; "" if nothing
/// is wrong. A file that lies there twice, or in the place of another, holds another part.
std::string file_trouble(const CaptureDamage& damage);

/// "1,204 bytes skipped, at least 3 records missing"; where nothing gives away how many records the bytes held, it says
/// that. "" if nothing is missing.
std::string skipped_text(std::uint64_t bytes_skipped, std::uint64_t records_missing);

/// How many records are missing at least; none: bytes were skipped, and nothing gives away how many they held.
std::optional<std::uint64_t> records_missing(std::uint64_t bytes_skipped, std::uint64_t records_missing);

}  // namespace hopbench
