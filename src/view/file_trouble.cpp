#include "view/file_trouble.h"

#include <fmt/format.h>

#include <vector>

#include "view/number_text.h"

namespace hopbench {

std::string file_trouble(const CaptureDamage& damage) {
  std::vector<std::string> parts;
  const auto add = [&](std::uint64_t files, const char* of_one, const char* of_several) {
    if (files == 0) return;
    const std::string whose = parts.empty() ? " of its files " : " ";
    parts.push_back(files == 1 ? "one" + whose + of_one : grouped(files) + whose + of_several);
  };
  add(damage.segments_missing, "is missing", "are missing");
  add(damage.segments_misplaced, "holds another part of it than its name says",
      "hold another part of it than their names say");
  add(damage.segments_cut, "breaks off although the next goes on", "break off although the next goes on");
  if (parts.empty()) return {};
  auto text = fmt::format("{}", fmt::join(parts, ", "));
  if (damage.first_bad_segment) text += fmt::format(" (the first: number {})", *damage.first_bad_segment);
  return text;
}

std::optional<std::uint64_t> records_missing(std::uint64_t bytes_skipped, std::uint64_t records_missing) {
  if (bytes_skipped > 0 && records_missing == 0) return std::nullopt;
  return records_missing;
}

std::string skipped_text(std::uint64_t bytes_skipped, std::uint64_t missing) {
  if (bytes_skipped == 0 && missing == 0) return {};
  const auto bytes = counted(bytes_skipped, "byte") + " skipped";
  const auto known = records_missing(bytes_skipped, missing);
  if (!known) return bytes + ", how many records they held cannot be told";
  return fmt::format("{}, at least {} missing", bytes, counted(*known, "record"));
}

}  // namespace hopbench
