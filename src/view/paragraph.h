// Sentences in lines.
#pragma once

#include <cstddef>
#include <string>

#include "view/page.h"

namespace hopbench {

/// Words over as many lines of at most `width` columns as it takes, the first with `lead` before it, all of them
/// `indent` to the right. What could speak to the terminal becomes "?".
std::string paragraph(std::size_t indent, const std::string& lead, const std::string& text,
                      std::size_t width = page_width());

}  // namespace hopbench
