// A program run as a child process, watched through its output. Waits on descriptors, with a deadline that only a
// failure uses up.
#pragma once

#include <sys/types.h>

#include <csignal>
#include <string>
#include <vector>

namespace hopbench {

class Process {
 public:
  /// Starts `command` (a path and its arguments) with its standard output and error on pipes.
  explicit Process(const std::vector<std::string>& command);
  /// Kills what is still running.
  ~Process();
  Process(const Process&) = delete;
  Process& operator=(const Process&) = delete;

  /// Waits until the standard error holds `text`; false if the program ends or the deadline passes first.
  bool says(const std::string& text);
  void send(int signal) const;
  /// Nobody reads what it says from now on.
  void close_err();
  /// Stops it, and returns when it stands still.
  void stop() const;
  /// Waits for the end. Returns the exit code, or minus the signal that ended it; fails the test after the deadline.
  int wait();

  /// Valid after wait(); until then as far as it has been read.
  [[nodiscard]] const std::string& out() const { return out_; }
  [[nodiscard]] const std::string& err() const { return err_; }

 private:
  bool read_more();

  pid_t pid_ = -1;
  int out_fd_ = -1;
  int err_fd_ = -1;
  std::string out_;
  std::string err_;
};

}  // namespace hopbench
