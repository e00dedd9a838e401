// Another program, started with one end of a Unix socket pair, and ended whatever happens.
#pragma once

#include <sys/types.h>

#include <chrono>
#include <memory>
#include <string>
#include <variant>
#include <vector>

#include "port/byte_port.h"
#include "port/file_descriptor.h"

namespace hopbench {

/// In a process group of its own, without input; what it prints goes to our standard error. When this goes, so does the
/// whole group.
class ChildProcess {
 public:
  /// `words`: program, looked for as a shell does, and arguments. The number of the socket's descriptor stands in the
  /// environment variable `variable`.
  static std::variant<std::unique_ptr<ChildProcess>, PortError> start(const std::vector<std::string>& words,
                                                                      const std::string& variable);
  ~ChildProcess();
  ChildProcess(const ChildProcess&) = delete;
  ChildProcess& operator=(const ChildProcess&) = delete;

  /// Our end. Blocks.
  [[nodiscard]] int descriptor() const { return ours_.get(); }
  /// How it ended, in words that go on from its name ("ended with exit code 3"), if it does so within `most`; else "".
  [[nodiscard]] std::string ended_within(std::chrono::milliseconds most);
  /// What it left with if it has ended by itself; -1: it has not, or by a signal.
  [[nodiscard]] int exit_code() const { return exit_code_; }

 private:
  ChildProcess() = default;

  FileDescriptor ours_;
  FileDescriptor alive_;  // readable once it has ended
  pid_t pid_ = -1;        // -1: it is no more
  int exit_code_ = -1;
  std::string how_;
};

/// Words as a shell takes them apart, with quotes and variables, and without running anything; none, and why, if it
/// cannot be done.
std::vector<std::string> words_of(const std::string& line, std::string& why);

}  // namespace hopbench
