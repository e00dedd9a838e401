// The fuzz target's function over a small corpus, over good files cut at every byte, and over good files with one byte
// changed.
#include <filesystem>

#include "../../tools/fuzz/scenario.cpp"
#include "support/catch.h"

using namespace hopbench;

namespace {

void feed(const std::string& text) { fuzz_scenario(reinterpret_cast<const std::uint8_t*>(text.data()), text.size()); }

std::string content(const std::string& path) {
  std::string why;
  const auto file = read_text_file(path, why);
  REQUIRE(file);
  return file->text;
}

}  // namespace

TEST_CASE("the corpus does no harm") {
  int files = 0;
  for (const auto& entry : std::filesystem::directory_iterator(HOPBENCH_SOURCE_DIR "/tests/text/corpus")) {
    INFO(entry.path());
    feed(content(entry.path().string()));
    ++files;
  }
  CHECK(files >= 12);
}

TEST_CASE("a scenario cut at any byte does no harm") {
  const std::string text = content(HOPBENCH_SOURCE_DIR "/captures/mixed.txtpb");
  for (std::size_t size = 0; size <= text.size(); size += 3) feed(text.substr(0, size));
  SUCCEED();
}

TEST_CASE("a scenario with any byte changed does no harm") {
  const std::string good = content(HOPBENCH_SOURCE_DIR "/captures/modbus-ring.txtpb");
  for (std::size_t i = 0; i < good.size(); i += 2) {
    for (const char c : {'{', '"', '9', '\0', '\xff'}) {
      std::string text = good;
      text[i] = c;
      feed(text);
    }
  }
  SUCCEED();
}
