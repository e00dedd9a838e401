// Characters passed on as they come, against a model that goes through every tick of time.
#include "line/retime.h"

#include <cmath>
#include <deque>

#include "base/luck.h"
#include "line/signal.h"
#include "support/catch.h"

namespace hopbench {
namespace {

class Dice {
 public:
  explicit Dice(std::uint64_t sub) : stream_(Luck(10).stream(name_hash("retime"), Purpose::test, sub)) {}
  Nanos between(Nanos low, Nanos high) {
    return low + static_cast<Nanos>(below(static_cast<std::uint64_t>(high - low) + 1, draw(stream_, next_++, 0)));
  }

 private:
  StreamKey stream_;
  std::uint64_t next_ = 0;
};

/// Tick by tick: a sender takes the oldest waiting character as soon as it may; then one that comes in waits, if there
/// is room.
Retimed tick_by_tick(const std::vector<Nanos>& heard, Nanos not_before, Nanos lag, Nanos char_ns, std::uint32_t fifo) {
  struct Waiting {
    std::uint32_t which;
    Nanos ready;
  };
  Retimed result;
  std::deque<Waiting> waiting;
  Nanos sender_free = 0;
  std::size_t next = 0;
  const Nanos last =
      std::max(heard.empty() ? 0 : heard.back(), not_before) + lag + char_ns * static_cast<Nanos>(heard.size() + 1);
  for (Nanos t = 0; t <= last; ++t) {
    const auto send = [&] {
      if (waiting.empty() || t < sender_free || t < waiting.front().ready || t < not_before) return;
      result.starts.push_back(t);
      result.passed.push_back(waiting.front().which);
      sender_free = t + char_ns;
      waiting.pop_front();
    };
    send();
    if (next < heard.size() && heard[next] == t) {
      if (waiting.size() >= fifo) {
        result.overrun = true;
      } else {
        waiting.push_back({static_cast<std::uint32_t>(next), t + lag});
      }
      ++next;
    }
    send();
  }
  return result;
}

}  // namespace

TEST_CASE("retiming does what a tick-by-tick model does") {
  Dice dice(1);
  int overruns = 0;
  int gaps = 0;
  for (int round = 0; round < 5'000; ++round) {
    const Nanos char_ns = 20;  // a half bit of one nanosecond
    const Nanos spacing = dice.between(16, 24);
    std::vector<Nanos> heard;
    Nanos at = dice.between(1, 30);
    const Nanos count = dice.between(0, 25);
    for (Nanos i = 0; i < count; ++i) {
      heard.push_back(at);
      at += spacing + (dice.between(0, 5) == 0 ? dice.between(0, 60) : 0);
    }
    const Nanos lag = dice.between(0, 30);
    const Nanos not_before = dice.between(0, 150);
    const auto fifo = static_cast<std::uint32_t>(dice.between(1, 8));
    Retimed result;
    retime(heard, not_before, lag, 20, Period{2} << 32U, fifo, result);
    const Retimed model = tick_by_tick(heard, not_before, lag, char_ns, fifo);
    INFO("round " << round << " fifo " << fifo << " lag " << lag << " spacing " << spacing);
    REQUIRE(result.passed == model.passed);
    REQUIRE(result.starts == model.starts);
    REQUIRE(result.overrun == model.overrun);
    if (result.overrun) ++overruns;
    for (std::size_t i = 1; i < result.starts.size(); ++i) {
      if (result.starts[i] > result.starts[i - 1] + char_ns) ++gaps;
    }
  }
  CHECK(overruns > 200);
  CHECK(gaps > 200);
}

// Arithmetic: a character of 8N1 at 115200 Bd is 86.8056 us, ten of them 868.056 us.
TEST_CASE("ten characters over sixteen hops, whole and one character behind") {
  const Period period = period_of_baud(115'200);
  const Nanos ten = half_edge(0, 200, period);
  CHECK(std::abs(static_cast<double>(ten) - 868'055.6) < 1);

  Nanos stored = 0;
  for (int hop = 0; hop < 16; ++hop) stored = half_edge(stored, 200, period);
  CHECK(std::abs(static_cast<double>(stored) - 13'888'888.9) < 16);

  std::vector<Nanos> starts;
  for (std::uint32_t i = 0; i < 10; ++i) starts.push_back(half_edge(0, 20 * i, period));
  for (int hop = 1; hop < 16; ++hop) {
    std::vector<Nanos> heard;
    for (const Nanos start : starts) heard.push_back(half_edge(start, 20, period));
    Retimed result;
    retime(heard, 0, 0, 20, period, 1, result);
    REQUIRE_FALSE(result.overrun);
    starts = result.starts;
  }
  CHECK(std::abs(static_cast<double>(half_edge(starts.back(), 20, period)) - 2'170'138.9) < 40);
}

TEST_CASE("a sender that is faster than the node outruns its FIFO after so many characters") {
  // In at 4 % more than out: the line in front of the sender grows by a character in 25.
  const Nanos in = 24;
  const Nanos out = 25;
  std::vector<Nanos> heard;
  for (Nanos i = 1; i <= 400; ++i) heard.push_back(in * i);
  for (const std::uint32_t fifo : {1U, 2U, 4U, 8U}) {
    Retimed result;
    retime(heard, 0, 0, 1, Period{2 * static_cast<std::uint64_t>(out)} << 32U, fifo, result);
    REQUIRE(result.overrun);
    std::uint32_t first_lost = 0;
    while (first_lost < result.passed.size() && result.passed[first_lost] == first_lost) ++first_lost;
    // Character m begins at in + (m - 1) out; when one is heard, (in m - in) / out characters at least have begun.
    CHECK(first_lost > (fifo - 1) * 25);
    CHECK(first_lost <= (fifo + 1) * 25);
  }
}

}  // namespace hopbench
