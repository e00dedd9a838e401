// The real program, run as a user would: its output, its errors and its exit code.
#pragma once

#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>

#include "support/catch.h"

namespace hopbench::program {

struct Ran {
  int exit_code = -1;
  std::string out;
  std::string err;
};

/// A folder of its own for each test, gone afterwards.
class Folder {
 public:
  Folder() {
    std::string pattern = (std::filesystem::temp_directory_path() / "hopbench-XXXXXX").string();
    REQUIRE(mkdtemp(pattern.data()) != nullptr);
    path_ = pattern;
  }
  ~Folder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;

  [[nodiscard]] std::string file(const std::string& name) const { return path_ + "/" + name; }
  void write(const std::string& name, const std::string& text) const {
    std::ofstream out{file(name), std::ios::binary};
    out << text;
    REQUIRE(out.good());
  }
  [[nodiscard]] std::string read(const std::string& name) const {
    std::ifstream in{file(name), std::ios::binary};
    std::ostringstream text;
    text << in.rdbuf();
    return text.str();
  }

  /// Runs the program here; `arguments` as in a shell.
  [[nodiscard]] Ran run(const std::string& arguments) const {
    return shell("cd '" + path_ + "' && '" HOPBENCH_BINARY "' " + arguments);
  }
  /// Runs a line of shell, wherever it goes; only what it prints is kept here.
  [[nodiscard]] Ran shell(const std::string& line) const {
    const std::string command = "{ " + line + "; } >'" + file("out.txt") + "' 2>'" + file("err.txt") + "' </dev/null";
    const int status = std::system(command.c_str());
    REQUIRE(WIFEXITED(status));
    return {WEXITSTATUS(status), read("out.txt"), read("err.txt")};
  }

 private:
  std::string path_;
};

}  // namespace hopbench::program
