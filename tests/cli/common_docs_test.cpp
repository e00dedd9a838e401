// docs/common.md: its example, run as it stands there.
#include <filesystem>
#include <string>

#include "page_block.h"
#include "program.h"
#include "support/catch.h"

namespace hopbench {
TEST_CASE("what the example in docs/common.md has in common is what the page says") {
  const program::Folder folder;
  folder.write("sluice.txtpb", page_block("common.md", "txtpb"));
  std::string commands;
  std::string printed;
  const std::string block = page_block("common.md", "console common");
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
