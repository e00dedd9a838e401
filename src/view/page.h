// How wide what is printed may be. The one place that knows.
#pragma once

#include <cstddef>

namespace hopbench {

/// Columns of what is printed: 80 until set_page_width() says otherwise.
std::size_t page_width();
/// Kept between 40 and 100: longer lines are hard to read.
void set_page_width(std::size_t columns);

/// Columns of the terminal at `file`; if it is none, what the variable COLUMNS says; 80 where neither tells.
std::size_t columns_of(int file);

}  // namespace hopbench
