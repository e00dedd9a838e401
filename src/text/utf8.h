// Whether bytes are text.
#pragma once

#include <cstddef>
#include <string_view>

namespace hopbench {

/// Offset of the first byte that is not part of well-formed UTF-8 (RFC 3629); npos if there is none.
std::size_t first_bad_utf8(std::string_view text);

}  // namespace hopbench
