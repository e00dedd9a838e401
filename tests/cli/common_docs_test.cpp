// docs/common.md: its example, run as it stands there.
#include <filesystem>
#include <fstream>
#include <string>

#include "program.h"
#include "support/catch.h"

namespace hopbench {
namespace {

/// The first block of the page that begins with this fence.
std::string block_behind(const std::string& fence) {
  std::ifstream page(std::string(HOPBENCH_SOURCE_DIR) + "/docs/common.md");
  REQUIRE(page);
  std::string block;
  bool inside = false;
  for (std::string line; std::getline(page, line);) {
    if (inside && line == "```") return block;
    if (inside) block += line + "\n";
    inside = inside || line == "```" + fence;
  }
  FAIL("no block " << fence);
  return block;
}

}  // namespace

TEST_CASE("what the example in docs/common.md has in common is what the page says") {
  const program::Folder folder;
  folder.write("sluice.txtpb", block_behind("txtpb"));
  std::string commands;
  std::string printed;
  const std::string block = block_behind("console common");
  for (std::size_t at = 0; at < block.size();) {
    const std::size_t end = block.find('\n', at);
    const std::string line = block.substr(at, end + 1 - at);
    (line.starts_with("$ ") ? commands : printed) += line.starts_with("$ ") ? line.substr(2) : line;
    at = end + 1;
  }
  const auto programs = std::filesystem::path(HOPBENCH_BINARY).parent_path().string();
  folder.write("lines.sh", "PATH='" + programs + "':$PATH\n" + commands);
  const auto ran = folder.shell("cd '" + folder.file("") + "' && sh lines.sh");
  CHECK(ran.err == "");
  CHECK(ran.out == printed);
}

}  // namespace hopbench
