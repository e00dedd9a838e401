#include "follow.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <pty.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <filesystem>
#include <string>
#include <vector>

#include "base/luck.h"
#include "record/capture_writer.h"
#include "workloads.h"

namespace hopbench {
namespace {

using Clock = std::chrono::steady_clock;

constexpr int columns = 200;
constexpr int lines = 60;

double ms_since(Clock::time_point from) {
  return std::chrono::duration<double, std::milli>(Clock::now() - from).count();
}

/// The inspector on a terminal of its own.
class Followed {
 public:
  explicit Followed(const std::string& capture) {
    winsize size{};
    size.ws_col = columns;
    size.ws_row = lines;
    pid_ = forkpty(&terminal_, nullptr, nullptr, &size);
    if (pid_ != 0) return;
    setenv("TERM", "xterm-256color", 1);
    setenv("LANG", "C.UTF-8", 1);
    execl(HOPBENCH_BINARY, HOPBENCH_BINARY, "inspect", capture.c_str(), "--follow", "--no-index", nullptr);
    _exit(127);
  }
  Followed(const Followed&) = delete;
  Followed& operator=(const Followed&) = delete;
  ~Followed() { close(terminal_); }

  /// Reads what is painted until nothing came for so long.
  void quiet(int ms) const {
    while (something(ms)) {
    }
  }
  /// Reads some of what is painted; false if nothing came for so long.
  [[nodiscard]] bool something(int ms) const {
    pollfd wait{terminal_, POLLIN, 0};
    if (poll(&wait, 1, ms) <= 0) return false;
    std::array<char, 65536> bytes{};
    return read(terminal_, bytes.data(), bytes.size()) > 0;
  }
  /// Ends it; seconds of processor that it took.
  [[nodiscard]] double end() const {
    kill(pid_, SIGTERM);
    quiet(200);
    int status = 0;
    rusage used{};
    wait4(pid_, &status, 0, &used);
    const auto of = [](const timeval& time) {
      return static_cast<double>(time.tv_sec) + 1e-6 * static_cast<double>(time.tv_usec);
    };
    return of(used.ru_utime) + of(used.ru_stime);
  }

 private:
  int terminal_ = -1;
  pid_t pid_ = -1;
};

/// A run of ring16 that is recorded as fast as it would go in real time.
class Growing {
 public:
  explicit Growing(const std::string& path)
      : scenario_(captured_scenario("ring16")),
        protocol_(scenario_.bus),
        writer_(system_file_ops(), path, {1, scenario_.scenario_text, scenario_.bus_text, {}},
                unhurried_plan(monotonic_now)),
        chain_(protocol_, scenario_.chain, 1, Way::repeats, Seat::simulated, writer_) {
    on(3600 * second);
  }
  /// So much further, and it is in the file when this returns.
  void on(Nanos span) {
    until_ += span;
    if (!chain_.run_until(until_)) std::exit(3);
    writer_.drain();
  }

 private:
  Scenario scenario_;
  Protocol protocol_;
  CaptureWriter writer_;
  Chain chain_;
  Nanos until_ = 0;
};

}  // namespace

void bench_follow() {
  const std::string folder = std::filesystem::temp_directory_path() / "hopbench-benchmark-follow";
  std::filesystem::remove_all(folder);
  std::filesystem::create_directories(folder);
  const std::string path = folder + "/grows.hbcap";
  Growing growing(path);
  fmt::print("the inspector following a capture of ring16 that grows, {} x {}\n", columns, lines);
  {
    const Followed inspector(path);
    inspector.quiet(1000);
    const auto luck = Luck(1).stream(name_hash("bench_follow"), Purpose::test, 0);
    std::vector<double> ms;
    for (std::uint64_t i = 0; i < 100; ++i) {
      growing.on(2 * second);
      const auto written = Clock::now();
      if (inspector.something(5000)) ms.push_back(ms_since(written));
      inspector.quiet(static_cast<int>(150 + below(100, draw(luck, i, 0))));
    }
    (void)inspector.end();
    std::sort(ms.begin(), ms.end());
    if (!ms.empty()) {
      fmt::print("  from written to painted {:5.0f} ms  half of {} within it, the longest {:.0f}\n", ms[ms.size() / 2],
                 ms.size(), ms.back());
    }
  }
  const auto cost = [&](const char* what, Nanos each) {
    const Followed inspector(path);
    inspector.quiet(1000);
    const auto from = Clock::now();
    std::size_t painted = 0;
    for (auto next = from; ms_since(from) < 10'000;) {
      next += std::chrono::milliseconds(50);
      if (each > 0) growing.on(each);
      while (Clock::now() < next) {
        const auto left = std::chrono::duration_cast<std::chrono::milliseconds>(next - Clock::now()).count();
        painted += inspector.something(static_cast<int>(std::max<std::int64_t>(1, left))) ? 1U : 0U;
      }
    }
    const double wall = ms_since(from) / 1000;
    fmt::print("  {:<23} {:5.1f} %   of a core over {:.0f} s, its start included; painted {:.0f} times a second\n",
               what, 100 * inspector.end() / wall, wall, static_cast<double>(painted) / wall);
  };
  cost("growing 20 times a second", 500 * millisecond);
  cost("at rest", 0);
  fmt::print("\n");
  std::filesystem::remove_all(folder);
}

}  // namespace hopbench
