// One text file looked at as a whole, for `hopbench check`.
#pragma once

#include <string>
#include <vector>

#include "text/problem.h"

namespace hopbench {

struct Checked {
  std::vector<Problem> problems;  // no errors among them: the file is good
  std::string what_it_is;         // one line about a good file
};

/// Loads the file as what it is (see kind_of in text/parse.h).
Checked check_file(const TextFile& file);

}  // namespace hopbench
