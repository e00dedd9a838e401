// The session by itself: a chain, a port and a clock that the test moves by hand.
#include "port/session.h"

#include <algorithm>
#include <map>
#include <string>
#include <utility>
#include <vector>

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
  using Late = std::pair<Nanos, Nanos>;

  void set_outlet(Outlet outlet) override { outlet_ = std::move(outlet); }
  bool run_until(Nanos until) override {
    now_ = until;
    while (!plan_.empty() && plan_.begin()->first <= until) {
      const Sending sending = plan_.begin()->second;
      plan_.erase(plan_.begin());
      outlet_(sending.ends, sending.bytes, {}, sending.one_by_one);
    }
    return !stuck;
  }
  [[nodiscard]] Nanos next_at() const override { return plan_.empty() ? never : plan_.begin()->first; }
  [[nodiscard]] Nanos now() const override { return now_; }
  void arrive(Nanos at, bool paced, std::span<const std::uint8_t> bytes, std::span<const std::uint8_t> flags) override {
    now_ = std::max(now_, at);
    arrived.push_back({at, paced, {bytes.begin(), bytes.end()}, {flags.begin(), flags.end()}});
    told.push_back("arrival");
  }
  void port_was_late(Nanos from, Nanos to) override {
    late.emplace_back(from, to);
    told.push_back("late");
  }

  /// Back to back from `start`, at 1 ms a character.
  void send_at(Nanos start, const Bytes& bytes) {
    std::vector<Nanos> ends;
    for (std::size_t i = 0; i < bytes.size(); ++i) ends.push_back(start + static_cast<Nanos>(i + 1) * millisecond);
    plan_.emplace(start, Sending{ends, bytes, false});
  }
  void send_one_by_one(Nanos start, std::vector<Nanos> ends, Bytes bytes) {
    plan_.emplace(start, Sending{std::move(ends), std::move(bytes), true});
  }

  std::vector<Arrived> arrived;
  std::vector<Late> late;
  std::vector<std::string> told;  // in which order
  bool stuck = false;

 private:
  struct Sending {
    std::vector<Nanos> ends;
    Bytes bytes;
    bool one_by_one;
  };
  Outlet outlet_;
  std::multimap<Nanos, Sending> plan_;
  Nanos now_ = 0;
};

class FakePort final : public BytePort {
 public:
  explicit FakePort(bool paced) : paced_(paced) {}
  [[nodiscard]] int descriptor() const override { return -1; }
  void watch(bool input, bool room_wanted) override {
    waits_for_input = input;
    waits_for_room = room_wanted;
  }
  [[nodiscard]] bool paced() const override { return paced_; }
  [[nodiscard]] bool somebody_there() const override { return somebody; }
  bool read(PortRead& intake, std::size_t most) override {
    const auto size = static_cast<std::ptrdiff_t>(std::min(most, to_read.size()));
    intake.bytes.insert(intake.bytes.end(), to_read.begin(), to_read.begin() + size);
    intake.flags = flags;
    intake.left = leaves;
    leaves = false;
    to_read.erase(to_read.begin(), to_read.begin() + size);
    return !gone;
  }
  std::ptrdiff_t write(std::span<const std::uint8_t> bytes) override {
    if (gone) return -1;
    const auto taken = std::min(bytes.size(), room);
    room -= taken;
    written.insert(written.end(), bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(taken));
    return static_cast<std::ptrdiff_t>(taken);
  }
  [[nodiscard]] PortLosses losses() const override { return lost; }
  [[nodiscard]] PortDelay delay() const override { return adds; }
  std::string take_note() override { return {}; }

  Bytes to_read;
  Bytes flags;
  Bytes written;
  PortLosses lost;
  PortDelay adds;
  std::size_t room = 1'000'000;
  bool somebody = true;
  bool leaves = false;
  bool gone = false;
  bool waits_for_input = false;
  bool waits_for_room = false;

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
  /// What the loop does each time that it wakes up.
  Session::Health turn(Nanos now) {
    const auto health = session.wake(now);
    return health == Session::Health::well ? session.hand_over(now) : health;
  }
  FakeChain chain;
  FakePort port;
  Session session;
};

constexpr auto well = Session::Health::well;

TEST_CASE("on a pty a frame comes out whole when its last character would have ended") {
  Bench bench(false);
  bench.chain.send_at(5 * millisecond, {1, 2, 3});
  REQUIRE(bench.turn(4'500 * microsecond) == well);
  CHECK(bench.session.next_wake() == 5 * millisecond);
  REQUIRE(bench.turn(5 * millisecond) == well);
  REQUIRE(bench.turn(7'500 * microsecond) == well);
  CHECK(bench.port.written.empty());
  CHECK(bench.session.next_wake() == 8 * millisecond);
  REQUIRE(bench.turn(8 * millisecond - 1) == well);
  CHECK(bench.port.written.empty());
  REQUIRE(bench.turn(8 * millisecond) == well);
  CHECK(bench.port.written == Bytes{1, 2, 3});
  CHECK(bench.session.lateness().sends == 1);
  CHECK(bench.session.lateness().worst == 0);
}

TEST_CASE("on a UART a frame is handed over at its start") {
  Bench bench(true);
  bench.chain.send_at(5 * millisecond, {1, 2, 3});
  REQUIRE(bench.turn(5 * millisecond) == well);
  CHECK(bench.port.written == Bytes{1, 2, 3});
  CHECK(bench.session.lateness().worst == 0);
}

TEST_CASE("what is sent one by one comes out character by character, each at its end") {
  Bench bench(false);
  bench.chain.send_one_by_one(0, {1 * millisecond, 2'200 * microsecond, 5 * millisecond}, {1, 2, 3});
  REQUIRE(bench.turn(0) == well);
  REQUIRE(bench.turn(1 * millisecond - 1) == well);
  CHECK(bench.port.written.empty());
  CHECK(bench.session.next_wake() == 1 * millisecond);
  REQUIRE(bench.turn(1 * millisecond) == well);
  CHECK(bench.port.written == Bytes{1});
  REQUIRE(bench.turn(2 * millisecond) == well);
  CHECK(bench.session.next_wake() == 2'200 * microsecond);
  REQUIRE(bench.turn(2'200 * microsecond) == well);
  CHECK(bench.port.written == Bytes{1, 2});
  REQUIRE(bench.turn(5 * millisecond - 1) == well);
  CHECK(bench.port.written == Bytes{1, 2});
  REQUIRE(bench.turn(5 * millisecond + 70) == well);
  CHECK(bench.port.written == Bytes{1, 2, 3});
  CHECK(bench.session.lateness().sends == 3);
  CHECK(bench.session.lateness().worst == 70);
}

TEST_CASE("on a UART each of them is handed over at its start") {
  Bench bench(true);
  bench.chain.send_one_by_one(0, {1 * millisecond, 2'200 * microsecond}, {1, 2});
  REQUIRE(bench.turn(0) == well);
  CHECK(bench.port.written == Bytes{1});
  REQUIRE(bench.turn(1'200 * microsecond - 1) == well);
  CHECK(bench.port.written == Bytes{1});
  REQUIRE(bench.turn(1'200 * microsecond) == well);
  CHECK(bench.port.written == Bytes{1, 2});
}

TEST_CASE("a UART needs one and a half stop bits too before the last edge") {
  FakeChain chain;
  FakePort port(true);
  LineCoding line = slow_line();
  line.stop_half_bits = 3;
  line.parity = Parity::even;
  Session session(chain, port, line);
  // 1 + 8 + 1 + 1.5 bits of 100 us.
  chain.send_one_by_one(0, {3 * millisecond}, {1});
  REQUIRE(session.wake(0) == well);
  REQUIRE(session.hand_over(1'850 * microsecond - 1) == well);
  CHECK(port.written.empty());
  REQUIRE(session.hand_over(1'850 * microsecond) == well);
  CHECK(port.written == Bytes{1});
}

TEST_CASE("lateness is what the port adds to the nominal time, and the chain is told of it") {
  Bench bench(true);
  bench.chain.send_at(1 * millisecond, {1});
  bench.chain.send_at(2 * millisecond, {2});
  REQUIRE(bench.turn(1 * millisecond + 300) == well);
  REQUIRE(bench.turn(2 * millisecond + 50) == well);
  CHECK(bench.session.lateness().sends == 2);
  CHECK(bench.session.lateness().worst == 300);
  CHECK(bench.session.lateness().total == 350);
  CHECK(bench.session.lateness().stalls == 0);
  CHECK(bench.chain.late == std::vector<FakeChain::Late>{{1 * millisecond, 1 * millisecond + 300},
                                                         {2 * millisecond, 2 * millisecond + 50}});
}

TEST_CASE("what the chain itself takes between waking and handing over is lateness too") {
  Bench bench(true);
  bench.chain.send_at(1 * millisecond, {1});
  REQUIRE(bench.session.wake(1 * millisecond) == well);
  REQUIRE(bench.session.hand_over(3 * millisecond) == well);
  CHECK(bench.session.lateness().worst == 2 * millisecond);
}

TEST_CASE("a send is late until the port has its last byte") {
  Bench bench(true);
  bench.chain.send_at(1 * millisecond, {1, 2, 3, 4});
  bench.port.room = 3;
  REQUIRE(bench.turn(1 * millisecond) == well);
  CHECK(bench.session.lateness().sends == 0);
  CHECK(bench.chain.late.empty());
  bench.port.room = 10;
  REQUIRE(bench.turn(1'900 * microsecond) == well);
  CHECK(bench.session.lateness().sends == 1);
  CHECK(bench.session.lateness().worst == 900 * microsecond);
  CHECK(bench.chain.late == std::vector<FakeChain::Late>{{1 * millisecond, 1'900 * microsecond}});
}

TEST_CASE("a session wants to be woken though nothing is due, less often while nobody is there") {
  Bench bench(false);
  REQUIRE(bench.turn(3 * millisecond) == well);
  CHECK(bench.session.next_wake() == 3 * millisecond + busy_beat);
  bench.port.somebody = false;
  REQUIRE(bench.turn(4 * millisecond) == well);
  CHECK(bench.session.next_wake() == 4 * millisecond + idle_beat);
}

TEST_CASE("a process that was stopped was late, though nothing was due") {
  Bench bench(false);
  REQUIRE(bench.turn(0) == well);
  REQUIRE(bench.turn(busy_beat) == well);
  // Woken in time, or nearly so, and also before the time.
  REQUIRE(bench.turn(2 * busy_beat + stall_threshold) == well);
  REQUIRE(bench.turn(2 * busy_beat + stall_threshold + 1) == well);
  CHECK(bench.chain.late.empty());
  CHECK(bench.session.lateness().stalls == 0);
  const Nanos last = 2 * busy_beat + stall_threshold + 1;
  const Nanos back = last + 400 * millisecond;
  REQUIRE(bench.turn(back) == well);
  CHECK(bench.chain.late == std::vector<FakeChain::Late>{{last, back}});
  CHECK(bench.session.lateness().stalls == 1);
  CHECK(bench.session.lateness().worst_stall == 400 * millisecond);
  REQUIRE(bench.turn(back + busy_beat) == well);
  REQUIRE(bench.turn(back + 3 * busy_beat) == well);
  CHECK(bench.session.lateness().stalls == 2);
  CHECK(bench.session.lateness().worst_stall == 400 * millisecond);
  CHECK(bench.session.lateness().stalled == 400 * millisecond + 2 * busy_beat);
  CHECK(bench.session.lateness().sends == 0);
}

TEST_CASE("a wake-up just beyond the threshold is a stall") {
  Bench bench(false);
  REQUIRE(bench.turn(0) == well);
  REQUIRE(bench.turn(busy_beat + stall_threshold + 1) == well);
  CHECK(bench.session.lateness().stalls == 1);
}

TEST_CASE("time before the first wake-up is no stall") {
  Bench bench(false);
  REQUIRE(bench.turn(400 * millisecond) == well);
  CHECK(bench.session.lateness().stalls == 0);
}

TEST_CASE("bytes read after a stall come with it, until all that came in meanwhile is read") {
  Bench bench(true);  // a UART, so that reading is not held back
  REQUIRE(bench.turn(0) == well);
  bench.port.to_read = Bytes(5000, 0x55);  // more than one read takes
  REQUIRE(bench.turn(300 * millisecond) == well);
  REQUIRE(bench.turn(300 * millisecond + 10) == well);
  CHECK(bench.chain.told == std::vector<std::string>{"late", "arrival", "late", "arrival"});
  CHECK(bench.chain.late == std::vector<FakeChain::Late>{{0, 300 * millisecond}, {0, 300 * millisecond + 10}});
  CHECK(bench.session.lateness().stalls == 1);
  bench.port.to_read = {1};
  REQUIRE(bench.turn(300 * millisecond + 20) == well);
  CHECK(bench.chain.late.size() == 2);
  CHECK(bench.chain.arrived.size() == 3);
}

TEST_CASE("a port that takes little at a time gets every byte once and in order") {
  Bench bench(true);
  bench.chain.send_at(0, {1, 2, 3, 4});
  bench.chain.send_at(1, {5, 6});
  bench.port.room = 3;
  REQUIRE(bench.turn(10) == well);
  CHECK(bench.port.waits_for_room);
  CHECK(bench.session.next_wake() == 10 + busy_beat);  // nothing to do before the port has room
  bench.port.room = 2;
  REQUIRE(bench.turn(20) == well);
  CHECK(bench.port.waits_for_room);
  bench.port.room = 10;
  REQUIRE(bench.turn(30) == well);
  CHECK_FALSE(bench.port.waits_for_room);
  CHECK(bench.port.written == Bytes{1, 2, 3, 4, 5, 6});
  CHECK(bench.session.lateness().sends == 2);
}

TEST_CASE("bytes for a port that takes none are bounded, the oldest go") {
  Bench bench(true);
  bench.port.room = 0;
  for (int i = 0; i < 200; ++i) bench.chain.send_at(i, Bytes(1000, static_cast<std::uint8_t>(i)));
  REQUIRE(bench.turn(1000) == well);
  bench.port.room = 1'000'000;
  REQUIRE(bench.turn(2000) == well);
  CHECK(bench.port.written.size() <= 64 * 1024);
  CHECK(bench.port.written.size() + bench.session.lateness().not_fetched == 200'000);
  CHECK(bench.port.written.back() == 199);
  CHECK(bench.port.written.front() > 100);
}

TEST_CASE("what is due while nobody is there is dropped and counted, and is no send") {
  Bench bench(false);
  bench.chain.send_at(0, {1, 2, 3});
  bench.chain.send_at(5 * millisecond, {4});
  bench.port.somebody = false;
  REQUIRE(bench.turn(0) == well);
  REQUIRE(bench.turn(3 * millisecond) == well);
  CHECK(bench.session.lateness().nobody_there == 3);
  CHECK(bench.session.lateness().sends == 0);
  bench.port.somebody = true;
  REQUIRE(bench.turn(5 * millisecond) == well);
  REQUIRE(bench.turn(6 * millisecond) == well);
  CHECK(bench.port.written == Bytes{4});
  CHECK(bench.session.lateness().nobody_there == 3);
  CHECK(bench.session.lateness().sends == 1);
}

TEST_CASE("what a client left untaken is not for the next one; what is due later is") {
  Bench bench(false);
  bench.chain.send_at(0, {1, 2, 3});
  bench.chain.send_at(10 * millisecond, {4});
  bench.port.room = 1;
  REQUIRE(bench.turn(0) == well);
  REQUIRE(bench.turn(3 * millisecond) == well);
  CHECK(bench.port.written == Bytes{1});
  // Gone, and the next one is there already.
  bench.port.leaves = true;
  bench.port.room = 100;
  REQUIRE(bench.turn(4 * millisecond) == well);
  REQUIRE(bench.turn(10 * millisecond) == well);
  REQUIRE(bench.turn(11 * millisecond) == well);
  CHECK(bench.port.written == Bytes{1, 4});
  CHECK(bench.session.lateness().nobody_there == 2);
}

TEST_CASE("what the port itself lost and adds is told with the rest") {
  Bench bench(false);
  bench.port.lost = {30, 28};
  bench.port.adds = {31'000, 95'000};
  CHECK(bench.session.lateness().not_fetched == 30);
  CHECK(bench.session.lateness().nobody_there == 28);
  CHECK(bench.session.lateness().port_median == 31'000);
  CHECK(bench.session.lateness().port_99 == 95'000);
}

TEST_CASE("what arrives is stamped later than anything that the chain has done") {
  Bench bench(false);
  REQUIRE(bench.turn(100) == well);
  bench.port.to_read = {7, 8};
  REQUIRE(bench.turn(90) == well);  // a clock that reads the same or less
  REQUIRE(bench.chain.arrived.size() == 1);
  CHECK(bench.chain.arrived[0].at == 101);
  CHECK(bench.chain.arrived[0].bytes == Bytes{7, 8});
  CHECK_FALSE(bench.chain.arrived[0].paced);
  bench.port.to_read = {9};
  REQUIRE(bench.turn(500) == well);
  CHECK(bench.chain.arrived[1].at == 500);
}

TEST_CASE("flags of damaged characters go with the bytes") {
  Bench bench(true);
  bench.port.to_read = {7, 8};
  bench.port.flags = {0, 1};
  REQUIRE(bench.turn(10) == well);
  CHECK(bench.chain.arrived.at(0).paced);
  CHECK(bench.chain.arrived.at(0).flags == Bytes{0, 1});
}

TEST_CASE("a read that brings nothing is no arrival") {
  Bench bench(false);
  REQUIRE(bench.turn(10) == well);
  CHECK(bench.chain.arrived.empty());
}

TEST_CASE("a client that sends far ahead of the line has to wait") {
  Bench bench(false);
  CHECK(bench.session.may_read_at() <= 0);
  bench.port.to_read = Bytes(4097, 0x55);
  REQUIRE(bench.turn(10) == well);
  // 4096 characters of 1 ms are on their way; no more than 2048 may be when the next are read.
  const Nanos next = 10 + 2048 * millisecond;
  CHECK(bench.session.may_read_at() == next);
  CHECK_FALSE(bench.port.waits_for_input);
  REQUIRE(bench.turn(next - 1) == well);
  CHECK(bench.chain.arrived.size() == 1);
  CHECK(bench.session.next_wake() == next);
  REQUIRE(bench.turn(next) == well);
  CHECK(bench.chain.arrived.size() == 2);
  // A UART cannot be ahead of itself.
  Bench wire(true);
  wire.port.to_read = Bytes(4096, 0x55);
  REQUIRE(wire.turn(10) == well);
  CHECK(wire.session.may_read_at() <= 10);
  CHECK(wire.port.waits_for_input);
}

TEST_CASE("a stuck chain and a port that is gone are told apart") {
  Bench bench(true);
  bench.chain.stuck = true;
  CHECK(bench.turn(1) == Session::Health::stuck);
  bench.chain.stuck = false;
  bench.port.gone = true;
  CHECK(bench.turn(2) == Session::Health::port_gone);
  bench.chain.send_at(3, {1});
  CHECK(bench.session.wake(3) == Session::Health::port_gone);
  CHECK(bench.session.hand_over(3) == Session::Health::port_gone);
}

TEST_CASE("what came in before the port went is not lost") {
  Bench bench(true);
  bench.port.to_read = {1};
  bench.port.gone = true;
  CHECK(bench.turn(2) == Session::Health::port_gone);
  CHECK(bench.chain.arrived.size() == 1);
}

}  // namespace
}  // namespace hopbench
