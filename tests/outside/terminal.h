// A terminal of its own for the real program: a terminal multiplexer.
#pragma once

#include <chrono>
#include <string>

#include "cli/program.h"
#include "support/catch.h"

namespace hopbench {

/// A terminal of that size in which a command runs; gone with its end.
class Terminal {
 public:
  Terminal(const program::Folder& folder, int width, int height, const std::string& command,
           const std::string& environment = "TERM=tmux-256color LANG=C.UTF-8")
      : folder_(folder),
        server_("tmux -S " + socket_of_its_own(folder) + " -f /dev/null -u "),
        raw_(folder.file("sent-to-terminal")) {
    const auto ran = folder.shell(server_ + "new-session -d -x " + std::to_string(width) + " -y " +
                                  std::to_string(height) + " \"cd '" + folder.file(".") + "' && read go && env " +
                                  environment + " '" HOPBENCH_BINARY "' " + command + "; echo it gave \\$?; cat\"");
    INFO(ran.err);
    REQUIRE(ran.exit_code == 0);
    // Every byte from the first on: the program waits for a line.
    REQUIRE(folder.shell(server_ + "pipe-pane \"cat >'" + raw_ + "'\"").exit_code == 0);
    send("Enter");
  }
  ~Terminal() { (void)folder_.shell(server_ + "kill-server"); }
  Terminal(const Terminal&) = delete;
  Terminal& operator=(const Terminal&) = delete;

  void send(const std::string& keys) const { REQUIRE(folder_.shell(server_ + "send-keys " + keys).exit_code == 0); }
  void resize(int width, int height) const {
    REQUIRE(folder_.shell(server_ + "resize-window -x " + std::to_string(width) + " -y " + std::to_string(height))
                .exit_code == 0);
  }
  [[nodiscard]] std::string screen() const { return folder_.shell(server_ + "capture-pane -p").out; }
  /// What the program has sent to the terminal so far, byte by byte.
  [[nodiscard]] std::string sent() const { return folder_.shell("cat '" + raw_ + "'").out; }
  /// Until these words stand there; false after a long time.
  [[nodiscard]] bool comes(const std::string& words) const {
    const auto until = std::chrono::steady_clock::now() + std::chrono::seconds(60);
    std::string seen;
    while (std::chrono::steady_clock::now() < until) {
      seen = screen();
      if (seen.find(words) != std::string::npos) return true;
    }
    UNSCOPED_INFO("waited for \"" << words << "\", there is\n" << seen);
    return false;
  }

 private:
  /// A server that is told to end may still answer the next who calls it by the same name.
  static std::string socket_of_its_own(const program::Folder& folder) {
    static int last = 0;
    return "'" + folder.file("terminal-" + std::to_string(++last)) + "'";
  }

  const program::Folder& folder_;
  std::string server_;
  std::string raw_;
};

}  // namespace hopbench
