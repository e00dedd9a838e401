// The loop that waits, with a pty and a chain that echoes. Nothing here asserts how fast it is.
#include "port/real_time.h"

#include <fcntl.h>
#include <signal.h>

#include <algorithm>
#include <chrono>
#include <csignal>
#include <thread>

#include "fixtures.h"
#include "port/line_speed.h"
#include "port/pty.h"

namespace hopbench {
namespace {

using Bytes = std::vector<std::uint8_t>;

/// Sends everything back `delay` after it came.
class EchoChain final : public Driven {
 public:
  explicit EchoChain(Nanos delay) : delay_(delay) {}
  void set_outlet(Outlet outlet) override { outlet_ = std::move(outlet); }
  bool run_until(Nanos until) override {
    while (!waiting_.empty() && waiting_.front().first <= until) {
      const auto [at, bytes] = waiting_.front();
      waiting_.erase(waiting_.begin());
      // 10 bits a character at 57,600 Bd.
      std::vector<Nanos> ends;
      for (std::size_t i = 1; i <= bytes.size(); ++i)
        ends.push_back(at + static_cast<Nanos>(i * 1'000'000'000 / 5'760));
      outlet_(ends, bytes, {}, false);
    }
    now_ = until;
    return true;
  }
  [[nodiscard]] Nanos next_at() const override { return waiting_.empty() ? never : waiting_.front().first; }
  [[nodiscard]] Nanos now() const override { return now_; }
  void arrive(Nanos at, bool, std::span<const std::uint8_t> bytes, std::span<const std::uint8_t>) override {
    stamps.push_back(at);
    now_ = std::max(now_, at);
    waiting_.emplace_back(at + delay_, Bytes(bytes.begin(), bytes.end()));
  }
  void port_was_late(Nanos from, Nanos to) override { late.emplace_back(from, to); }
  std::vector<Nanos> stamps;
  std::vector<std::pair<Nanos, Nanos>> late;

 private:
  Outlet outlet_;
  Nanos delay_;
  Nanos now_ = 0;
  std::vector<std::pair<Nanos, Bytes>> waiting_;
};

struct Running {
  Folder folder;
  std::string link = folder / "chain";
  std::unique_ptr<PtyPort> port;
  FileDescriptor client;
  EchoChain chain;
  std::unique_ptr<Session> session;

  explicit Running(Nanos delay) : chain(delay) {
    LineCoding line;
    line.baud = 57'600;
    auto made = PtyPort::open(link, line);
    REQUIRE(std::holds_alternative<std::unique_ptr<PtyPort>>(made));
    port = std::move(std::get<std::unique_ptr<PtyPort>>(made));
    client = FileDescriptor(::open(link.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK));
    REQUIRE(client.valid());
    session = std::make_unique<Session>(chain, *port, line);
  }
};

TEST_CASE("the loop ends at the time it was given") {
  Running running(0);
  RealTimeOptions options;
  options.until = 20 * millisecond;
  const auto end = run_in_real_time(*running.session, *running.port, options);
  CHECK(end.why == RealTimeEnd::Why::time);
  CHECK(end.at == options.until);
  CHECK(running.chain.now() == options.until);
}

TEST_CASE("bytes go in, and come out no earlier than the chain and the line allow") {
  constexpr Nanos delay = 30 * millisecond;
  Running running(delay);
  Bytes heard;
  Nanos waited = 0;
  std::thread client([&] {
    const auto asked = std::chrono::steady_clock::now();
    write_bytes(running.client.get(), Bytes{1, 2, 3, 4});
    heard = read_bytes(running.client.get(), 4);
    waited = std::chrono::nanoseconds(std::chrono::steady_clock::now() - asked).count();
    kill(getpid(), SIGTERM);
  });
  RealTimeOptions options;
  options.until = 60 * second;
  const auto end = run_in_real_time(*running.session, *running.port, options);
  client.join();
  CHECK(end.why == RealTimeEnd::Why::signal);
  CHECK(heard == Bytes{1, 2, 3, 4});
  // 40 bits at 57,600 Bd.
  CHECK(waited >= delay + 694'444);
  CHECK(running.session->lateness().sends == 1);
}

TEST_CASE("a signal ends the loop, and the next one is back at its default") {
  const int signal = GENERATE(SIGINT, SIGTERM, SIGHUP);
  Running running(0);
  RealTimeOptions options;
  options.until = 60 * second;
  options.tick_every = millisecond;
  options.tick = [signal](Nanos) { kill(getpid(), signal); };
  const auto end = run_in_real_time(*running.session, *running.port, options);
  CHECK(end.why == RealTimeEnd::Why::signal);
  CHECK(end.at < options.until);
  struct sigaction action {};
  REQUIRE(sigaction(signal, nullptr, &action) == 0);
  CHECK(action.sa_handler == SIG_DFL);
}

TEST_CASE("a hang-up that is ignored stays so") {
  Running running(0);
  std::signal(SIGHUP, SIG_IGN);
  RealTimeOptions options;
  options.until = 20 * millisecond;
  options.tick_every = millisecond;
  options.tick = [](Nanos) { kill(getpid(), SIGHUP); };
  const auto end = run_in_real_time(*running.session, *running.port, options);
  CHECK(end.why == RealTimeEnd::Why::time);
  CHECK(std::signal(SIGHUP, SIG_DFL) == SIG_IGN);
}

TEST_CASE("a loop that is held up reports for how long, and what was read then") {
  Running running(0);
  RealTimeOptions options;
  options.until = 60 * second;
  options.tick_every = 5 * millisecond;
  Nanos from = 0;
  Nanos held_up = 0;
  options.tick = [&](Nanos now) {
    if (held_up > 0) {
      kill(getpid(), SIGINT);
      return;
    }
    // Bytes come in while the loop is kept from reading: here by the one who ticks, as it would be by the scheduler.
    write_bytes(running.client.get(), Bytes{1, 2});
    REQUIRE(readable_within(running.port->descriptor(), patience_ms));
    from = now;
    const auto begun = std::chrono::steady_clock::now();
    CHECK_FALSE(readable_within(running.client.get(), 50));
    held_up = std::chrono::nanoseconds(std::chrono::steady_clock::now() - begun).count();
  };
  run_in_real_time(*running.session, *running.port, options);
  REQUIRE(held_up > 0);
  const Lateness lateness = running.session->lateness();
  CHECK(lateness.stalls >= 1);
  CHECK(lateness.worst_stall >= held_up);
  REQUIRE(running.chain.stamps.size() >= 1);
  const Nanos read = running.chain.stamps.front();
  const bool told = std::any_of(running.chain.late.begin(), running.chain.late.end(),
                                [&](const auto& late) { return late.first <= from && late.second == read; });
  CHECK(told);
}

TEST_CASE("after a signal the loop goes on as long as it was told to, but not beyond its time") {
  const bool near_the_end = GENERATE(false, true);
  Running running(0);
  RealTimeOptions options;
  options.until = near_the_end ? 500 * millisecond : 60 * second;
  options.linger = near_the_end ? 60 * second : 40 * millisecond;
  Nanos signalled = -1;
  options.tick_every = millisecond;
  options.tick = [&](Nanos now) {
    if (signalled >= 0) return;
    signalled = now;
    kill(getpid(), SIGINT);
  };
  const auto end = run_in_real_time(*running.session, *running.port, options);
  CHECK(end.why == RealTimeEnd::Why::signal);
  if (near_the_end) {
    CHECK(end.at == options.until);
  } else {
    CHECK(end.at >= signalled + options.linger);
    CHECK(end.at < options.until);
  }
}

TEST_CASE("notes of the port are passed on") {
  Running running(0);
  REQUIRE(set_line_speed(running.client.get(), 9600));
  write_bytes(running.client.get(), Bytes{1});
  std::vector<std::string> notes;
  RealTimeOptions options;
  options.until = 60 * second;
  options.note = [&](const std::string& note) {
    notes.push_back(note);
    kill(getpid(), SIGINT);
  };
  run_in_real_time(*running.session, *running.port, options);
  REQUIRE(notes.size() == 1);
  CHECK(notes[0].find("9600 Bd") != std::string::npos);
}

TEST_CASE("a client that floods the port is slowed down to the line") {
  Running running(0);
  std::size_t sent = 0;
  const Bytes block(1024, 0xa5);
  RealTimeOptions options;
  options.until = 300 * millisecond;
  options.tick_every = millisecond;
  options.tick = [&](Nanos) {
    const ssize_t size = ::write(running.client.get(), block.data(), block.size());
    if (size > 0) sent += static_cast<std::size_t>(size);
  };
  const auto end = run_in_real_time(*running.session, *running.port, options);
  CHECK(end.why == RealTimeEnd::Why::time);
  // In 0.3 s the line carries 1728 characters; 2048 may be ahead, one read of 4096 comes on top, and the kernel
  // holds some tens of thousands.
  CHECK(sent < 64 * 1024);
  CHECK_FALSE(running.chain.stamps.empty());
}

}  // namespace
}  // namespace hopbench
