// How much memory a run takes: the largest chain, and runs of different length.
#if !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)  // which take far more
#include <fcntl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>

#include "support/catch.h"

namespace hopbench {
namespace {

/// Largest memory of `hopbench run SCENARIO --exchanges N`, in KiB.
long kibibytes_of(const std::string& scenario, const std::string& exchanges) {
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    const int nowhere = ::open("/dev/null", O_WRONLY);
    ::dup2(nowhere, STDOUT_FILENO);
    ::execl(HOPBENCH_BINARY, HOPBENCH_BINARY, "run", scenario.c_str(), "--exchanges", exchanges.c_str(), nullptr);
    ::_exit(127);
  }
  int status = 0;
  rusage used{};
  REQUIRE(::wait4(child, &status, 0, &used) == child);
  REQUIRE(WIFEXITED(status));
  REQUIRE(WEXITSTATUS(status) == 0);
  return used.ru_maxrss;
}

}  // namespace

TEST_CASE("250 nodes take less than 64 MiB, and a run that is longer takes no more") {
  std::ifstream in(HOPBENCH_SOURCE_DIR "/captures/ring16.txtpb");
  std::ostringstream read;
  read << in.rdbuf();
  std::string text = read.str();
  const auto replace = [&](const std::string& from, const std::string& to) {
    const auto at = text.find(from);
    REQUIRE(at != std::string::npos);
    text.replace(at, from.size(), to);
  };
  replace("count: 16", "count: 250");
  replace("\"1.3824s\"", "\"6s\"");
  replace("\"500ms\"", "\"5.9s\"");
  std::string folder = (std::filesystem::temp_directory_path() / "hopbench-test-XXXXXX").string();
  REQUIRE(::mkdtemp(folder.data()) != nullptr);
  std::ofstream(folder + "/ring250.txtpb") << text;

  const long shorter = kibibytes_of(folder + "/ring250.txtpb", "20000");
  const long longer = kibibytes_of(folder + "/ring250.txtpb", "100000");
  std::filesystem::remove_all(folder);
  INFO("KiB: " << shorter << " and " << longer);
  CHECK(longer < 64 * 1024);
  // Pages come and go with how the system lays a program out.
  CHECK(longer < shorter + 2 * 1024);
}

}  // namespace hopbench
#endif
