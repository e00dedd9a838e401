// Two of the real program, started at once on one new file: one has it, the other is told so.
#include <array>
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "capture_set.h"
#include "port/fixtures.h"
#include "process.h"
#include "support/catch.h"

namespace hopbench {
namespace {

using Command = std::vector<std::string>;

const std::string ring16 = std::string(HOPBENCH_SOURCE_DIR) + "/captures/ring16.txtpb";

/// Everything that makes a capture.
Command writer(std::size_t kind, const Folder& folder, const std::string& out, const std::string& who) {
  switch (kind) {
    case 0:
      return {HOPBENCH_BINARY, "run", ring16, "--exchanges", "300", "--capture", out};
    case 1:
      return {HOPBENCH_BINARY, "capture", "thin", folder / "source.hbcap", out};
    case 2:
      return {HOPBENCH_BINARY, "capture", "cut", folder / "source.hbcap", out, "--to", "1s"};
    case 3:
      return {HOPBENCH_BINARY, "capture", "join", out, folder / "source.hbcap"};
    default:
      return {HOPBENCH_BINARY, "emulate", ring16, "--pty", (folder / "link") + who, "--for", "100ms", "--capture", out};
  }
}
constexpr std::size_t kinds = 5;

}  // namespace

TEST_CASE("of two writers started at once on one file one has it, and the other is refused in one line") {
  const Folder folder;
  Process source(writer(0, folder, folder / "source.hbcap", ""));
  REQUIRE(source.wait() == 0);
  for (std::size_t pair = 0; pair < 32; ++pair) {
    const std::string out = (folder / "out") + std::to_string(pair) + ".hbcap";
    const auto one = pair % kinds;
    const auto other = pair < 2 * kinds ? one : (pair / kinds) % kinds;
    // A run and a session take an empty file.
    const auto takes = [](std::size_t kind) { return kind == 0 || kind == kinds - 1; };
    const bool empty_one = pair % 2 == 1 && takes(one) && takes(other);
    if (empty_one) std::ofstream{out};
    CAPTURE(pair, one, other, empty_one);
    std::array<Process, 2> both{Process(writer(one, folder, out, "a")), Process(writer(other, folder, out, "b"))};
    const std::array<int, 2> codes{both[0].wait(), both[1].wait()};
    INFO(both[0].err() << both[1].err());
    const std::size_t loser = codes[0] == 0 ? 1 : 0;
    CHECK(codes[1 - loser] == 0);
    CHECK(codes[loser] == 3);
    // After a session's caution, the last line.
    const std::string& said = both[loser].err();
    CHECK(said.rfind("hopbench: " + out + ": ") == said.rfind('\n', said.size() - 2) + 1);
    Process check({HOPBENCH_BINARY, "capture", "check", out});
    CHECK(check.wait() == 0);
    // Nothing but what was asked for is left.
    CHECK_FALSE(std::filesystem::exists(out + ".part"));
  }
}

}  // namespace hopbench
