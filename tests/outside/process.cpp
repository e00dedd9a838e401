#include "process.h"

#include <fcntl.h>
#include <poll.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cerrno>

#include "support/catch.h"

namespace hopbench {
namespace {

constexpr int deadline_ms = 120'000;

void close_fd(int& fd) {
  if (fd >= 0) ::close(fd);
  fd = -1;
}

/// Appends what is there; closes `fd` at its end.
void drain(int& fd, std::string& text) {
  std::array<char, 4096> buffer;
  const ssize_t size = ::read(fd, buffer.data(), buffer.size());
  if (size > 0) {
    text.append(buffer.data(), static_cast<std::size_t>(size));
  } else if (size == 0 || errno != EINTR) {
    close_fd(fd);
  }
}

}  // namespace

Process::Process(const std::vector<std::string>& command) {
  std::array<int, 2> out{};
  std::array<int, 2> err{};
  REQUIRE(pipe2(out.data(), O_CLOEXEC) == 0);
  REQUIRE(pipe2(err.data(), O_CLOEXEC) == 0);
  std::vector<char*> arguments;
  for (const auto& word : command) arguments.push_back(const_cast<char*>(word.c_str()));
  arguments.push_back(nullptr);
  pid_ = fork();
  REQUIRE(pid_ >= 0);
  if (pid_ == 0) {
    dup2(out[1], STDOUT_FILENO);
    dup2(err[1], STDERR_FILENO);
    execv(arguments[0], arguments.data());
    _exit(127);
  }
  ::close(out[1]);
  ::close(err[1]);
  out_fd_ = out[0];
  err_fd_ = err[0];
}

Process::~Process() {
  if (pid_ > 0) {
    kill(pid_, SIGKILL);
    waitpid(pid_, nullptr, 0);
  }
  close_fd(out_fd_);
  close_fd(err_fd_);
}

bool Process::read_more() {
  std::array<pollfd, 2> waiting{{{out_fd_, POLLIN, 0}, {err_fd_, POLLIN, 0}}};  // a negative one is passed over
  if (poll(waiting.data(), waiting.size(), deadline_ms) <= 0) return false;
  if (waiting[0].revents != 0) drain(out_fd_, out_);
  if (waiting[1].revents != 0) drain(err_fd_, err_);
  return true;
}

bool Process::says(const std::string& text) {
  while (err_.find(text) == std::string::npos) {
    if (err_fd_ < 0 || !read_more()) return false;
  }
  return true;
}

void Process::send(int signal) const {
  REQUIRE(pid_ > 0);
  REQUIRE(kill(pid_, signal) == 0);
}

void Process::close_err() { close_fd(err_fd_); }

void Process::stop() const {
  send(SIGSTOP);
  int status = 0;
  REQUIRE(waitpid(pid_, &status, WUNTRACED) == pid_);
  REQUIRE(WIFSTOPPED(status));
}

int Process::wait() {
  while (out_fd_ >= 0 || err_fd_ >= 0) {
    INFO(err_);
    if (!read_more()) FAIL("the program has not ended in time");
  }
  int status = 0;
  REQUIRE(waitpid(pid_, &status, 0) == pid_);
  pid_ = -1;
  return WIFEXITED(status) ? WEXITSTATUS(status) : -WTERMSIG(status);
}

}  // namespace hopbench
