// Replays the fuzz target's small corpus, with every bit of it flipped, through the target itself.
#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <span>
#include <vector>

#include "support/catch.h"

namespace hopbench::fuzz {
std::size_t hear(std::span<const std::uint8_t> input);  // tools/fuzz/decoder.cpp
}

namespace {

std::vector<std::filesystem::path> corpus() {
  std::vector<std::filesystem::path> files;
  for (const auto& entry :
       std::filesystem::directory_iterator(std::filesystem::path(HOPBENCH_SOURCE_DIR) / "tests/bus/corpus")) {
    files.push_back(entry.path());
  }
  std::sort(files.begin(), files.end());
  return files;
}

std::vector<std::uint8_t> bytes_of(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

}  // namespace

TEST_CASE("every corpus file is heard, and those named good hold good frames") {
  const auto files = corpus();
  REQUIRE(files.size() >= 12);
  for (const auto& path : files) {
    INFO(path.filename().string());
    const auto bytes = bytes_of(path);
    REQUIRE(bytes.size() > 2);
    const std::size_t good = hopbench::fuzz::hear(bytes);
    if (path.filename().string().rfind("good", 0) == 0) CHECK(good >= 2);
  }
}

TEST_CASE("no flipped bit of the corpus breaks a promise") {
  for (const auto& path : corpus()) {
    auto bytes = bytes_of(path);
    for (std::size_t bit = 0; bit < 8 * bytes.size(); ++bit) {
      bytes[bit / 8] = static_cast<std::uint8_t>(bytes[bit / 8] ^ (1U << bit % 8));
      hopbench::fuzz::hear(bytes);
      bytes[bit / 8] = static_cast<std::uint8_t>(bytes[bit / 8] ^ (1U << bit % 8));
    }
  }
}
