// A block of a page in docs/, for tests that run what stands there.
#pragma once

#include <fstream>
#include <string>

#include "support/catch.h"

namespace hopbench {

/// The first block of the page that begins with this fence.
inline std::string page_block(const std::string& page_name, const std::string& fence) {
  std::ifstream page(std::string(HOPBENCH_SOURCE_DIR) + "/docs/" + page_name);
  REQUIRE(page);
  std::string block;
  bool inside = false;
  for (std::string line; std::getline(page, line);) {
    if (inside && line == "```") return block;
    if (inside) block += line + "\n";
    inside = inside || line == "```" + fence;
  }
  FAIL("no block " << fence << " in " << page_name);
  return block;
}

}  // namespace hopbench
