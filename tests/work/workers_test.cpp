// The pool: results do not depend on the number of threads, a stop is heard, the first exception in order is thrown.
// Where jobs wait for each other they do so by latches and flags, never by time.
#include "work/workers.h"

#include <algorithm>
#include <atomic>
#include <latch>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

const StopAsked never_stop = [] { return false; };
const std::vector<unsigned> numbers_of_threads{0, 1, 2, 4, 9};

struct Thrown {
  std::size_t by;
};

/// Until `unneeded` says so, as a long job does that looks now and then.
void go_on_until(const StopAsked& unneeded) {
  while (!unneeded()) std::this_thread::yield();
}

}  // namespace

TEST_CASE("every job is run once and has a place of its own") {
  for (const unsigned threads : numbers_of_threads) {
    Workers workers(threads);
    for (const std::size_t count : {0U, 1U, 3U, 1000U}) {
      std::vector<std::size_t> runs(count, 0);
      CHECK(workers.each(
          count, [&](std::size_t i, const StopAsked&) { runs[i] += i + 1; }, never_stop));
      for (std::size_t i = 0; i < count; ++i) CHECK(runs[i] == i + 1);
    }
  }
}

TEST_CASE("as many jobs run at the same time as there are threads") {
  Workers workers(4);
  std::latch together(4);  // opens only if four jobs wait at it
  CHECK(workers.each(
      4, [&](std::size_t, const StopAsked&) { together.arrive_and_wait(); }, never_stop));
}

TEST_CASE("progress is told by the calling thread, and ends with all") {
  for (const unsigned threads : numbers_of_threads) {
    Workers workers(threads);
    std::vector<std::size_t> told;
    const auto caller = std::this_thread::get_id();
    const auto progress = [&](std::size_t done, std::size_t total) {
      CHECK(std::this_thread::get_id() == caller);
      CHECK(total == 100);
      told.push_back(done);
    };
    CHECK(workers.each(
        100, [](std::size_t, const StopAsked&) {}, never_stop, progress));
    REQUIRE_FALSE(told.empty());
    CHECK(std::is_sorted(told.begin(), told.end()));
    CHECK(std::adjacent_find(told.begin(), told.end()) == told.end());
    CHECK(told.back() == 100);
  }
}

TEST_CASE("a job that is told of while the next one runs") {
  // The second job ends only after the caller was told of the first.
  Workers workers(1);
  std::atomic<bool> told = false;
  CHECK(workers.each(
      2,
      [&](std::size_t i, const StopAsked&) {
        while (i == 1 && !told) std::this_thread::yield();
      },
      never_stop, [&](std::size_t, std::size_t) { told = true; }));
}

TEST_CASE("progress is told of the last job even if it ended while the caller told of another") {
  Workers workers(2);
  for (int round = 0; round < 200; ++round) {
    std::atomic<bool> ended = false;
    std::size_t told = 0;
    CHECK(workers.each(
        2, [&](std::size_t i, const StopAsked&) { ended = ended || i == 1; }, never_stop,
        [&](std::size_t done, std::size_t) {
          while (!ended) std::this_thread::yield();
          told = done;
        }));
    CHECK(told == 2);
  }
}

TEST_CASE("after a stop no job begins, and those that run hear of it") {
  for (const unsigned threads : {1U, 2U, 4U}) {
    INFO(threads);
    Workers workers(threads);
    std::atomic<bool> asked = false;
    std::atomic<unsigned> begun = 0;
    // Each thread is in a job when the last of these jobs asks for the stop.
    const auto job = [&](std::size_t, const StopAsked& unneeded) {
      if (++begun == threads) asked = true;
      go_on_until(unneeded);
    };
    CHECK_FALSE(workers.each(1000, job, [&] { return asked.load(); }));
    CHECK(begun == threads);
    // Good for more.
    CHECK(workers.each(
        3, [&](std::size_t, const StopAsked&) { ++begun; }, never_stop));
    CHECK(begun == threads + 3);
  }
}

TEST_CASE("stopped before it began, nothing is run") {
  Workers workers(3);
  std::atomic<int> begun = 0;
  const StopAsked at_once = [] { return true; };
  CHECK_FALSE(workers.each(
      10, [&](std::size_t, const StopAsked&) { ++begun; }, at_once));
  CHECK_FALSE(workers.first(
      10, [&](std::size_t, const StopAsked&) { return ++begun > 0; }, at_once));
  CHECK(begun == 0);
}

TEST_CASE("what is found after a stop does not count") {
  Workers workers(2);
  std::atomic<bool> asked = false;
  const auto holds = [&](std::size_t, const StopAsked& unneeded) {
    asked = true;
    go_on_until(unneeded);
    return true;
  };
  CHECK_FALSE(workers.first(10, holds, [&] { return asked.load(); }));
}

TEST_CASE("of several that throw, the first in order counts, however late it comes") {
  for (const unsigned threads : {2U, 4U}) {
    Workers workers(threads);
    std::atomic<bool> later_threw = false;
    std::vector<int> begun(1000, 0);
    const auto job = [&](std::size_t i, const StopAsked&) {
      begun[i] = 1;
      if (i == 7) {
        later_threw = true;
        throw Thrown{7};
      }
      if (i == 6) {
        while (!later_threw) std::this_thread::yield();
        throw Thrown{6};
      }
    };
    std::size_t by = 0;
    try {
      (void)workers.each(begun.size(), job, never_stop);
    } catch (const Thrown& thrown) {
      by = thrown.by;
    }
    CHECK(by == 6);
    CHECK(std::count(begun.begin(), begun.begin() + 8, 1) == 8);
    CHECK(workers.each(
        3, [](std::size_t, const StopAsked&) {}, never_stop));
  }
}

TEST_CASE("with one thread nothing begins after a job that throws") {
  Workers workers(1);
  std::size_t begun = 0;
  const auto job = [&](std::size_t i, const StopAsked&) {
    ++begun;
    if (i == 4) throw Thrown{i};
  };
  CHECK_THROWS_AS(workers.each(100, job, never_stop), Thrown);
  CHECK(begun == 5);
}

TEST_CASE("a job that throws ends those behind it, not those before it") {
  Workers workers(3);
  std::latch all_run(3);
  std::atomic<bool> behind_heard = false;
  bool before_heard = false;
  const auto job = [&](std::size_t i, const StopAsked& unneeded) {
    all_run.arrive_and_wait();
    if (i == 1) throw Thrown{1};
    if (i == 2) {
      go_on_until(unneeded);
      behind_heard = true;
    }
    if (i == 0) {
      while (!behind_heard) std::this_thread::yield();
      before_heard = unneeded();
    }
  };
  CHECK_THROWS_AS(workers.each(3, job, never_stop), Thrown);
  CHECK_FALSE(before_heard);
}

TEST_CASE("what progress throws ends the work and comes out") {
  for (const unsigned threads : numbers_of_threads) {
    Workers workers(threads);
    const auto progress = [](std::size_t, std::size_t) { throw std::runtime_error("told"); };
    // Job 1 runs until the pool has heard of it.
    const auto job = [](std::size_t i, const StopAsked& unneeded) {
      if (i == 1) go_on_until(unneeded);
    };
    CHECK_THROWS_WITH(workers.each(1000, job, never_stop, progress), "told");
  }
}

TEST_CASE("the first that holds is the same with any number of threads, also where jobs throw") {
  for (std::uint64_t number = 0; number < 300; ++number) {
    Dice dice("first", number);
    const std::size_t count = dice.up_to(30);
    std::vector<int> what;  // 0 does not hold, 1 holds, 2 throws
    for (std::size_t i = 0; i < count; ++i)
      what.push_back(dice.one_in(1 + dice.up_to(20)) ? static_cast<int>(1 + dice.up_to(1)) : 0);
    const auto ends = std::find_if(what.begin(), what.end(), [](int each) { return each != 0; });
    const auto expected = static_cast<std::size_t>(ends - what.begin());
    for (const unsigned threads : {1U, 2U, 4U, 9U}) {
      INFO("number " << number << ", threads " << threads);
      Workers workers(threads);
      std::vector<int> asked(count, 0);
      const auto holds = [&](std::size_t i, const StopAsked&) {
        asked[i] = 1;
        if (what[i] == 2) throw Thrown{i};
        return what[i] == 1;
      };
      if (ends != what.end() && *ends == 2) {
        std::size_t by = count;
        try {
          (void)workers.first(count, holds, never_stop);
        } catch (const Thrown& thrown) {
          by = thrown.by;
        }
        CHECK(by == expected);
      } else {
        const auto found = workers.first(count, holds, never_stop);
        CHECK(found == (ends == what.end() ? std::nullopt : std::optional(expected)));
      }
      // All before it were asked, and with one thread nothing behind it.
      CHECK(std::count(asked.begin(), asked.begin() + static_cast<std::ptrdiff_t>(std::min(expected + 1, count)), 1) ==
            static_cast<std::ptrdiff_t>(std::min(expected + 1, count)));
      if (threads == 1)
        CHECK(std::count(asked.begin(), asked.end(), 1) == static_cast<std::ptrdiff_t>(std::min(expected + 1, count)));
    }
  }
}

TEST_CASE("those asked ahead of time end soon when they are not needed any more") {
  Workers workers(2);
  std::atomic<bool> other_runs = false;
  const auto holds = [&](std::size_t i, const StopAsked& unneeded) {
    if (i == 1) {
      other_runs = true;
      go_on_until(unneeded);
      return true;
    }
    while (!other_runs) std::this_thread::yield();
    return true;
  };
  CHECK(workers.first(1000, holds, never_stop) == std::optional<std::size_t>(0));
}

}  // namespace hopbench
