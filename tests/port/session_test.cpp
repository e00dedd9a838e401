// The session by itself: a chain, a port and a clock that the test moves by hand.
#include "port/session.h"

#include <algorithm>
#include <map>

#include "support/catch.h"

namespace hopbench {
namespace {

using Bytes = std::vector<std::uint8_t>;

/// Sends what the test tells it to, when the test says; keeps what arrives.
class FakeChain final : public Driven {
 public:
  struct Arrived {
    Nanos at;
    bool paced;
    Bytes bytes;
    Bytes flags;
  };

  void set_outlet(Outlet outlet) override { outlet_ = std::move(outlet); }
  bool run_until(Nanos until) override {
    now_ = until;
    while (!plan_.empty() && plan_.begin()->first <= until) {
      const auto [start, bytes] = *plan_.begin();
      plan_.erase(plan_.begin());
      outlet_(start, period_of_baud(10'000), bytes);
    }
    return !stuck;
  }
  [[nodiscard]] Nanos next_at() const override { return plan_.empty() ? never : plan_.begin()->first; }
  [[nodiscard]] Nanos now() const override { return now_; }
  void arrive(Nanos at, bool paced, std::span<const std::uint8_t> bytes, std::span<const std::uint8_t> flags) override {
    now_ = std::max(now_, at);
    arrived.push_back({at, paced, {bytes.begin(), bytes.end()}, {flags.begin(), flags.end()}});
  }

  void send_at(Nanos start, Bytes bytes) { plan_.emplace(start, std::move(bytes)); }

  std::vector<Arrived> arrived;
  bool stuck = false;

 private:
  Outlet outlet_;
  std::multimap<Nanos, Bytes> plan_;
  Nanos now_ = 0;
};

class FakePort final : public BytePort {
 public:
  explicit FakePort(bool paced) : paced_(paced) {}
  [[nodiscard]] int descriptor() const override { return -1; }
  [[nodiscard]] bool paced() const override { return paced_; }
  bool read(Intake& intake) override {
    intake.bytes.insert(intake.bytes.end(), to_read.begin(), to_read.end());
    intake.flags = flags;
    to_read.clear();
    return !gone;
  }
  std::ptrdiff_t write(std::span<const std::uint8_t> bytes) override {
    if (gone) return -1;
    const auto taken = std::min(bytes.size(), room);
    room -= taken;
    written.insert(written.end(), bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(taken));
    return static_cast<std::ptrdiff_t>(taken);
  }
  [[nodiscard]] std::uint64_t dropped() const override { return 0; }
  std::string take_note() override { return {}; }

  Bytes to_read;
  Bytes flags;
  Bytes written;
  std::size_t room = 1'000'000;
  bool gone = false;

 private:
  bool paced_;
};

// 10,000 Bd, 8N1: a bit is 100 us, a character 1 ms.
LineCoding slow_line() {
  LineCoding line;
  line.baud = 10'000;
  return line;
}

struct Bench {
  explicit Bench(bool paced) : port(paced), session(chain, port, slow_line()) {}
  FakeChain chain;
  FakePort port;
  Session session;
};

constexpr auto well = Session::Health::well;

TEST_CASE("on a pty a frame comes out whole when its last character would have ended") {
  Bench bench(false);
  bench.chain.send_at(5 * millisecond, {1, 2, 3});
  CHECK(bench.session.next_wake() == 5 * millisecond);
  REQUIRE(bench.session.wake(5 * millisecond) == well);
  CHECK(bench.port.written.empty());
  CHECK(bench.session.next_wake() == 8 * millisecond);
  REQUIRE(bench.session.wake(8 * millisecond - 1) == well);
  CHECK(bench.port.written.empty());
  REQUIRE(bench.session.wake(8 * millisecond) == well);
  CHECK(bench.port.written == Bytes{1, 2, 3});
  CHECK(bench.session.next_wake() == never);
  CHECK(bench.session.lateness().sends == 1);
  CHECK(bench.session.lateness().worst == 0);
}

TEST_CASE("on a UART a frame is handed over at its start") {
  Bench bench(true);
  bench.chain.send_at(5 * millisecond, {1, 2, 3});
  REQUIRE(bench.session.wake(5 * millisecond) == well);
  CHECK(bench.port.written == Bytes{1, 2, 3});
}

TEST_CASE("one and a half stop bits count in a character's time") {
  FakeChain chain;
  FakePort port(false);
  LineCoding line = slow_line();
  line.stop_half_bits = 3;
  line.parity = Parity::even;
  Session session(chain, port, line);
  chain.send_at(0, {1, 2});
  REQUIRE(session.wake(0) == well);
  // 1 + 8 + 1 + 1.5 bits, twice.
  CHECK(session.next_wake() == 2'300 * microsecond);
}

TEST_CASE("lateness is what the port adds to the nominal time") {
  Bench bench(true);
  bench.chain.send_at(1 * millisecond, {1});
  bench.chain.send_at(2 * millisecond, {2});
  REQUIRE(bench.session.wake(1 * millisecond + 300) == well);
  REQUIRE(bench.session.wake(2 * millisecond + 50) == well);
  CHECK(bench.session.lateness().sends == 2);
  CHECK(bench.session.lateness().worst == 300);
  CHECK(bench.session.lateness().total == 350);
}

TEST_CASE("a port that takes little at a time gets every byte once and in order") {
  Bench bench(true);
  bench.chain.send_at(0, {1, 2, 3, 4});
  bench.chain.send_at(1, {5, 6});
  bench.port.room = 3;
  REQUIRE(bench.session.wake(10) == well);
  CHECK(bench.session.wants_write());
  CHECK(bench.session.next_wake() == never);  // nothing to do before the port has room
  bench.port.room = 2;
  REQUIRE(bench.session.wake(20) == well);
  CHECK(bench.session.wants_write());
  bench.port.room = 10;
  REQUIRE(bench.session.wake(30) == well);
  CHECK_FALSE(bench.session.wants_write());
  CHECK(bench.port.written == Bytes{1, 2, 3, 4, 5, 6});
  CHECK(bench.session.lateness().sends == 2);
}

TEST_CASE("bytes for a port that takes none are bounded, the oldest go") {
  Bench bench(true);
  bench.port.room = 0;
  for (int i = 0; i < 200; ++i) bench.chain.send_at(i, Bytes(1000, static_cast<std::uint8_t>(i)));
  REQUIRE(bench.session.wake(1000) == well);
  bench.port.room = 1'000'000;
  REQUIRE(bench.session.wake(2000) == well);
  CHECK(bench.port.written.size() <= 64 * 1024);
  CHECK(bench.port.written.size() + bench.session.dropped() == 200'000);
  CHECK(bench.port.written.back() == 199);
  CHECK(bench.port.written.front() > 100);
}

TEST_CASE("what arrives is stamped later than anything that the chain has done") {
  Bench bench(false);
  REQUIRE(bench.session.wake(100) == well);
  bench.port.to_read = {7, 8};
  REQUIRE(bench.session.take_in(90) == well);  // a clock that reads the same or less
  REQUIRE(bench.chain.arrived.size() == 1);
  CHECK(bench.chain.arrived[0].at == 101);
  CHECK(bench.chain.arrived[0].bytes == Bytes{7, 8});
  CHECK_FALSE(bench.chain.arrived[0].paced);
  bench.port.to_read = {9};
  REQUIRE(bench.session.take_in(500) == well);
  CHECK(bench.chain.arrived[1].at == 500);
}

TEST_CASE("flags of damaged characters go with the bytes") {
  Bench bench(true);
  bench.port.to_read = {7, 8};
  bench.port.flags = {0, 1};
  REQUIRE(bench.session.take_in(10) == well);
  CHECK(bench.chain.arrived.at(0).paced);
  CHECK(bench.chain.arrived.at(0).flags == Bytes{0, 1});
}

TEST_CASE("a read that brings nothing is no arrival") {
  Bench bench(false);
  REQUIRE(bench.session.take_in(10) == well);
  CHECK(bench.chain.arrived.empty());
}

TEST_CASE("a client that sends far ahead of the line has to wait") {
  Bench bench(false);
  CHECK(bench.session.may_read_at() <= 0);
  bench.port.to_read = Bytes(4096, 0x55);
  REQUIRE(bench.session.take_in(10) == well);
  // 4096 characters of 1 ms are on their way; no more than 2048 may be when the next are read.
  CHECK(bench.session.may_read_at() == 10 + 2048 * millisecond);
  // A UART cannot be ahead of itself.
  Bench wire(true);
  wire.port.to_read = Bytes(4096, 0x55);
  REQUIRE(wire.session.take_in(10) == well);
  CHECK(wire.session.may_read_at() <= 10);
}

TEST_CASE("a stuck chain and a port that is gone are told apart") {
  Bench bench(true);
  bench.chain.stuck = true;
  CHECK(bench.session.wake(1) == Session::Health::stuck);
  bench.chain.stuck = false;
  bench.port.gone = true;
  CHECK(bench.session.take_in(2) == Session::Health::port_gone);
  bench.chain.send_at(3, {1});
  CHECK(bench.session.wake(3) == Session::Health::port_gone);
}

TEST_CASE("what came in before the port went is not lost") {
  Bench bench(true);
  bench.port.to_read = {1};
  bench.port.gone = true;
  CHECK(bench.session.take_in(2) == Session::Health::port_gone);
  CHECK(bench.chain.arrived.size() == 1);
}

}  // namespace
}  // namespace hopbench
