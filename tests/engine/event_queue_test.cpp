// Order at equal times, and the guard against a loop without time.
#include "engine/event_queue.h"

#include <algorithm>
#include <functional>
#include <vector>

#include "support/catch.h"

namespace hopbench {
namespace {

class Diary final : public Actor {
 public:
  void on_event(Nanos now, std::uint64_t what) override { lines.emplace_back(now, what); }
  std::vector<std::pair<Nanos, std::uint64_t>> lines;
};

/// Does something for each event.
class Doer final : public Actor {
 public:
  explicit Doer(std::function<void(Nanos, std::uint64_t)> act) : act_(std::move(act)) {}
  void on_event(Nanos now, std::uint64_t what) override { act_(now, what); }

 private:
  std::function<void(Nanos, std::uint64_t)> act_;
};

void run_dry(EventQueue& queue) {
  while (queue.next_at() != never) REQUIRE(queue.step());
}

}  // namespace

TEST_CASE("an empty queue waits for ever") {
  EventQueue queue(10, 0);
  CHECK(queue.next_at() == never);
  CHECK(queue.now() == 0);
}

TEST_CASE("events come by time, then rank, entity and port, in whatever order they were queued") {
  struct Given {
    Nanos at;
    Rank rank;
    std::uint16_t entity;
    std::uint8_t port;
  };
  // In the order in which they should come.
  const std::vector<Given> sorted{{5, Rank::release, 9, 9}, {7, Rank::signal, 0, 1},  {7, Rank::signal, 5000, 0},
                                  {7, Rank::arrival, 3, 0}, {7, Rank::arrival, 3, 1}, {7, Rank::arrival, 4, 0},
                                  {7, Rank::wake, 0, 0},    {7, Rank::plan, 0, 0},    {7, Rank::release, 0, 0},
                                  {8, Rank::signal, 0, 0}};
  std::vector<std::size_t> order{9, 3, 1, 8, 0, 6, 4, 2, 7, 5};
  for (int round = 0; round < 500; ++round) {
    std::next_permutation(order.begin(), order.end());
    EventQueue queue(100, 0);
    Diary diary;
    for (const std::size_t i : order)
      queue.push(sorted[i].at, sorted[i].rank, sorted[i].entity, sorted[i].port, diary, i);
    run_dry(queue);
    REQUIRE(diary.lines.size() == sorted.size());
    for (std::size_t i = 0; i < sorted.size(); ++i)
      REQUIRE(diary.lines[i] == std::pair{sorted[i].at, std::uint64_t{i}});
  }
}

TEST_CASE("what is equal in all of that keeps the order in which it was queued") {
  EventQueue queue(1'000, 0);
  Diary diary;
  for (std::uint64_t i = 0; i < 200; ++i) queue.push(3, Rank::wake, 1, 0, diary, i);
  run_dry(queue);
  for (std::uint64_t i = 0; i < 200; ++i) REQUIRE(diary.lines[i].second == i);
}

TEST_CASE("an answer on the deadline counts: arrival comes before the timer") {
  EventQueue queue(10, 0);
  Diary diary;
  queue.push(100, Rank::wake, 0, 0, diary, 2);
  queue.push(100, Rank::arrival, 60'000, 255, diary, 1);
  run_dry(queue);
  CHECK(diary.lines.front().second == 1);
}

TEST_CASE("events queued at the present instant still come at it, in order") {
  EventQueue queue(10, 0);
  Diary diary;
  Doer doer([&](Nanos now, std::uint64_t) { queue.push(now, Rank::arrival, 0, 0, diary, 1); });
  queue.push(4, Rank::signal, 0, 0, doer, 0);
  queue.push(4, Rank::wake, 0, 0, diary, 2);
  run_dry(queue);
  REQUIRE(diary.lines.size() == 2);
  CHECK(diary.lines[0] == std::pair{Nanos{4}, std::uint64_t{1}});
  CHECK(diary.lines[1] == std::pair{Nanos{4}, std::uint64_t{2}});
}

TEST_CASE("events of one rank that are done out of turn keep their order among themselves") {
  std::vector<std::uint64_t> order{0, 1, 2, 3, 4, 5};
  do {
    EventQueue queue(100, 0);
    Diary diary;
    queue.push(4, Rank::plan, 0, 0, diary, 99);
    for (const std::uint64_t i : order) {
      queue.push(4, Rank::release, static_cast<std::uint16_t>(i / 2), static_cast<std::uint8_t>(i % 2), diary, i);
    }
    queue.push(5, Rank::release, 0, 0, diary, 98);
    while (queue.step_of_rank(Rank::release)) {
    }
    REQUIRE(diary.lines.size() == order.size());
    for (std::uint64_t i = 0; i < order.size(); ++i) REQUIRE(diary.lines[i] == std::pair{Nanos{4}, i});
    REQUIRE(queue.next_rank() == Rank::plan);
  } while (std::next_permutation(order.begin(), order.end()));
}

TEST_CASE("a loop without time ends, and time that passes lifts the limit") {
  EventQueue queue(50, 0);
  std::uint64_t done = 0;
  Doer loop([&](Nanos now, std::uint64_t) {
    ++done;
    queue.push(now, Rank::wake, 0, 0, loop, 0);
  });
  queue.push(9, Rank::wake, 0, 0, loop, 0);
  bool moves = true;
  for (int i = 0; i < 1'000 && moves; ++i) moves = queue.step();
  CHECK_FALSE(moves);
  CHECK(done == 50);
  CHECK(queue.now() == 9);
  CHECK_FALSE(queue.step());
  CHECK(done == 50);

  EventQueue walking(50, 0);
  Diary diary;
  for (Nanos at = 1; at <= 10; ++at) {
    for (std::uint64_t i = 0; i < 50; ++i) walking.push(at, Rank::wake, 0, 0, diary, i);
  }
  run_dry(walking);
  CHECK(diary.lines.size() == 500);
}

TEST_CASE("time moves on without events, and never back") {
  EventQueue queue(10, 0);
  Diary diary;
  queue.push(100, Rank::wake, 0, 0, diary, 0);
  queue.advance(40);
  CHECK(queue.now() == 40);
  queue.advance(20);
  CHECK(queue.now() == 40);
  run_dry(queue);
  CHECK(queue.now() == 100);
}

namespace {

/// Waits for words up to 9; those from 100 on are over.
class Waiter final : public Actor {
 public:
  void on_event(Nanos now, std::uint64_t what) override { lines.emplace_back(now, what); }
  [[nodiscard]] bool is_over(Nanos /*at*/, std::uint64_t what) const override { return what >= 100; }
  [[nodiscard]] bool may_be_due_in_quiet(std::uint64_t what) const override { return what < 10; }
  std::vector<std::pair<Nanos, std::uint64_t>> lines;
};

}  // namespace

TEST_CASE("a queue that is put back does the same in the same order, without what is over") {
  EventQueue queue(10, 3);
  Waiter before;
  queue.push(9, Rank::plan, 2, 0, before, 4);
  queue.push(5, Rank::wake, 1, 7, before, 2);
  queue.push(5, Rank::wake, 1, 7, before, 1);  // equal but for the order of queueing
  queue.push(5, Rank::signal, 1, 0, before, 0);
  queue.push(6, Rank::wake, 1, 0, before, 100);
  CHECK(queue.quiet());
  Archive down;
  queue.keep_time(down);
  queue.keep_events(down, {});
  REQUIRE(down.good());

  const auto put_back = [&](EventQueue& other, Waiter& after, std::uint16_t known) {
    Archive back(down.bytes());
    other.keep_time(back);
    other.keep_events(back, [&](std::uint16_t entity) { return entity <= known ? &after : nullptr; });
    return back.why();
  };
  Waiter after;
  EventQueue other(10, 0);
  other.push(1, Rank::plan, 1, 0, after, 9);  // forgotten
  REQUIRE(put_back(other, after, 2) == "");
  CHECK(other.now() == 3);
  CHECK(other.size() == 4);
  run_dry(queue);
  run_dry(other);
  std::erase_if(before.lines, [](const auto& line) { return line.second == 100; });
  CHECK(after.lines == before.lines);

  EventQueue third(10, 0);
  CHECK(put_back(third, after, 1) == "events 4: what: nobody waits for that");
}

TEST_CASE("a queue with something under way is not quiet") {
  EventQueue queue(10, 0);
  Waiter waiter;
  CHECK(queue.quiet());
  queue.push(5, Rank::wake, 1, 0, waiter, 10);
  CHECK_FALSE(queue.quiet());
}

TEST_CASE("an instant that never comes is not waited for") {
  EventQueue queue(10, 0);
  Diary diary;
  queue.push(never, Rank::wake, 0, 0, diary, 1);
  CHECK(queue.next_at() == never);
  CHECK(queue.size() == 0);
  CHECK_FALSE(queue.step());
  queue.push(7, Rank::wake, 0, 0, diary, 2);
  run_dry(queue);
  CHECK((diary.lines == std::vector<std::pair<Nanos, std::uint64_t>>{{7, 2}}));
}

TEST_CASE("an event in the past is refused, and whoever runs the queue comes to know") {
  EventQueue queue(10, 0);
  Diary diary;
  queue.push(5, Rank::wake, 0, 0, diary, 1);
  REQUIRE(queue.step());
  queue.push(4, Rank::wake, 0, 0, diary, 2);
  // A loop that does what is due by some instant comes to the step that fails; it does not end as if all were done.
  CHECK(queue.next_at() <= 100);
  CHECK(queue.next_rank() == Rank::release);
  CHECK_FALSE(queue.step());
  queue.push(6, Rank::wake, 0, 0, diary, 3);
  CHECK_FALSE(queue.step());
  CHECK(queue.now() == 5);
  CHECK(diary.lines.size() == 1);
}

}  // namespace hopbench
