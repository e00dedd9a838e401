#include "record/segment_path.h"

#include <fmt/format.h>

namespace hopbench {

std::string segment_path(const std::string& path, std::uint32_t segment) {
  if (segment == 0) return path;
  const auto slash = path.find_last_of('/');
  const auto name = slash == std::string::npos ? 0 : slash + 1;
  auto dot = path.find_last_of('.');
  // The dot of a hidden file begins no ending.
  if (dot == std::string::npos || dot <= name) dot = path.size();
  return fmt::format("{}.{:04}{}", path.substr(0, dot), segment, path.substr(dot));
}

}  // namespace hopbench
