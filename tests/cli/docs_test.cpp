// The pages under docs/ and the README: what a command is said to print, it prints; what is shown as a scenario or a
// bus description is one. (The session in docs/emulate.md has a test of
// its own, by the clock; sessions of several commands, marked as console, have theirs beside their command's.)
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "program.h"
#include "support/catch.h"

namespace hopbench {
namespace {

namespace fs = std::filesystem;

struct Block {
  std::string page;
  std::string kind;  // what stands behind the opening fence
  std::string text;
};

std::vector<Block> blocks_of_all_pages() {
  std::vector<fs::path> pages{fs::path(HOPBENCH_SOURCE_DIR) / "README.md"};
  for (const auto& entry : fs::recursive_directory_iterator(fs::path(HOPBENCH_SOURCE_DIR) / "docs")) {
    if (entry.path().extension() == ".md") pages.push_back(entry.path());
  }
  std::vector<Block> blocks;
  for (const auto& page : pages) {
    std::ifstream file(page);
    REQUIRE(file);
    bool inside = false;
    for (std::string line; std::getline(file, line);) {
      if (line.starts_with("```")) {
        inside = !inside;
        if (inside) blocks.push_back({page.filename().string(), line.substr(3), ""});
      } else if (inside) {
        blocks.back().text += line + "\n";
      }
    }
  }
  return blocks;
}

/// A line of shell in the source folder, with the program on the path, and the library that pages preload where the
/// linker looks.
std::string in_source_folder(const std::string& line) {
  const auto programs = fs::path(HOPBENCH_BINARY).parent_path().string();
  return "cd '" + std::string(HOPBENCH_SOURCE_DIR) + "' && PATH='" + programs + "':$PATH && export LD_LIBRARY_PATH='" +
         programs + "' && " + line;
}

}  // namespace

TEST_CASE("commands in the docs print what stands below them") {
  const program::Folder folder;
  std::size_t run = 0;
  for (const Block& block : blocks_of_all_pages()) {
    const std::string prompt = "$ hopbench ";
    if (!block.text.starts_with(prompt) || block.page == "emulate.md" || block.kind.starts_with("console")) continue;
    const std::size_t end = block.text.find('\n');
    const std::string command = block.text.substr(2, end - 2);
    INFO(block.page << ": " << command);
    const program::Ran ran = folder.shell(in_source_folder(command + " 2>&1"));
    CHECK(ran.out == block.text.substr(end + 1));
    ++run;
  }
  CHECK(run >= 4);
}

TEST_CASE("scenarios and bus descriptions in the docs are good ones") {
  std::size_t checked = 0;
  const program::Folder folder;
  for (const Block& block : blocks_of_all_pages()) {
    if (block.kind != "txtpb" || block.text.find("# proto-message:") == std::string::npos) continue;
    folder.write("block.txtpb", block.text);
    INFO(block.page << ": " << block.text);
    const program::Ran ran = folder.run("check block.txtpb");
    CHECK(ran.err == "");
    CHECK(ran.exit_code == 0);
    ++checked;
  }
  CHECK(checked >= 2);
}

}  // namespace hopbench
