#include "port/child_process.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <spawn.h>
#include <sys/socket.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <wordexp.h>

#include <array>
#include <cerrno>
#include <csignal>
#include <cstring>

extern char** environ;

namespace hopbench {
namespace {

constexpr int their_descriptor = 3;

/// What a program is started with.
class SpawnSettings {
 public:
  explicit SpawnSettings(int socket) {
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_addopen(&actions, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
    posix_spawn_file_actions_adddup2(&actions, STDERR_FILENO, STDOUT_FILENO);
    posix_spawn_file_actions_adddup2(&actions, socket, their_descriptor);
    posix_spawnattr_init(&attributes);
    sigset_t signals;
    sigemptyset(&signals);
    posix_spawnattr_setsigmask(&attributes, &signals);
    for (const int each : {SIGINT, SIGTERM, SIGPIPE, SIGXFSZ}) sigaddset(&signals, each);
    posix_spawnattr_setsigdefault(&attributes, &signals);
    posix_spawnattr_setpgroup(&attributes, 0);
    posix_spawnattr_setflags(
        &attributes, static_cast<short>(POSIX_SPAWN_SETPGROUP | POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF));
  }
  ~SpawnSettings() {
    posix_spawnattr_destroy(&attributes);
    posix_spawn_file_actions_destroy(&actions);
  }
  SpawnSettings(const SpawnSettings&) = delete;
  SpawnSettings& operator=(const SpawnSettings&) = delete;

  posix_spawn_file_actions_t actions{};
  posix_spawnattr_t attributes{};
};

std::vector<char*> pointers_to(std::vector<std::string>& words) {
  std::vector<char*> pointers;
  for (std::string& each : words) pointers.push_back(each.data());
  pointers.push_back(nullptr);
  return pointers;
}

std::vector<std::string> environment_with(const std::string& variable, const std::string& value) {
  std::vector<std::string> all;
  for (char** each = environ; *each != nullptr; ++each) {
    if (!std::string_view(*each).starts_with(variable + "=")) all.emplace_back(*each);
  }
  all.push_back(variable + "=" + value);
  return all;
}

}  // namespace

std::variant<std::unique_ptr<ChildProcess>, PortError> ChildProcess::start(const std::vector<std::string>& words,
                                                                           const std::string& variable) {
  std::array<int, 2> ends{};
  if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends.data()) != 0) {
    return PortError{fmt::format("no socket pair: {}", std::strerror(errno))};
  }
  auto child = std::unique_ptr<ChildProcess>(new ChildProcess);
  child->ours_ = FileDescriptor(ends[0]);
  const FileDescriptor theirs(ends[1]);
  const SpawnSettings settings(theirs.get());
  std::vector<std::string> arguments = words;
  std::vector<std::string> environment = environment_with(variable, std::to_string(their_descriptor));
  const int error = posix_spawnp(&child->pid_, words.front().c_str(), &settings.actions, &settings.attributes,
                                 pointers_to(arguments).data(), pointers_to(environment).data());
  if (error != 0) {
    child->pid_ = -1;
    return PortError{fmt::format("{}: {}", words.front(), std::strerror(error))};
  }
  child->alive_ = FileDescriptor(static_cast<int>(syscall(SYS_pidfd_open, child->pid_, 0)));
  return child;
}

ChildProcess::~ChildProcess() {
  if (pid_ < 0) return;
  kill(-pid_, SIGKILL);
  kill(pid_, SIGKILL);
  while (waitpid(pid_, nullptr, 0) < 0 && errno == EINTR) {
  }
}

std::string ChildProcess::ended_within(std::chrono::milliseconds most) {
  if (pid_ < 0) return how_;
  pollfd alive{alive_.get(), POLLIN, 0};
  if (alive_.valid()) (void)poll(&alive, 1, static_cast<int>(most.count()));
  siginfo_t ended{};
  // Not reaped yet: until its group is ended nobody else may get its number.
  if (waitid(P_PID, static_cast<id_t>(pid_), &ended, WEXITED | WNOHANG | WNOWAIT) != 0 || ended.si_pid == 0) return {};
  kill(-pid_, SIGKILL);
  (void)waitpid(pid_, nullptr, 0);
  pid_ = -1;
  if (ended.si_code == CLD_EXITED) {
    exit_code_ = ended.si_status;
    how_ = fmt::format("ended with exit code {}", ended.si_status);
  } else {
    how_ = fmt::format("was ended by signal {} ({})", ended.si_status, strsignal(ended.si_status));
  }
  return how_;
}

std::vector<std::string> words_of(const std::string& line, std::string& why) {
  wordexp_t expanded{};
  const int error = wordexp(line.c_str(), &expanded, WRDE_NOCMD);
  if (error != 0) {
    why = error == WRDE_BADCHAR  ? "put characters such as | & ; < > ( ) { } in quotes"
          : error == WRDE_SYNTAX ? "a quote is not closed"
          : error == WRDE_CMDSUB ? "no command in a command"
                                 : "no memory";
    return {};
  }
  std::vector<std::string> words(expanded.we_wordv, expanded.we_wordv + expanded.we_wordc);
  wordfree(&expanded);
  if (words.empty()) why = "name a program";
  return words;
}

}  // namespace hopbench
