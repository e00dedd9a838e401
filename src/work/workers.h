// Independent jobs on several threads. What comes of them depends neither on how many threads there are nor on which
// thread took which job: jobs begin in order, and where one of them ends the work, it is the first in order that
// counts.
#pragma once

#include <condition_variable>
#include <cstddef>
#include <exception>
#include <functional>
#include <mutex>
#include <optional>
#include <stop_token>
#include <thread>
#include <vector>

namespace hopbench {

/// True: stop. Asked often and from any thread, and once true it stays true. It must not throw.
using StopAsked = std::function<bool()>;

/// A pool of threads that lives through as many calls as are needed. One call at a time, and none from within a job.
class Workers {
 public:
  /// `threads`: jobs at the same time, besides the calling thread, which waits; 0 counts as 1.
  explicit Workers(unsigned threads);
  Workers(const Workers&) = delete;
  Workers& operator=(const Workers&) = delete;

  /// A job writes its result to a place that no other job touches. Once `unneeded` is true, nobody wants the result,
  /// and the job should return soon.
  using Job = std::function<void(std::size_t index, const StopAsked& unneeded)>;
  using Test = std::function<bool(std::size_t index, const StopAsked& unneeded)>;
  using Progress = std::function<void(std::size_t done, std::size_t total)>;

  /// Runs jobs 0 to count - 1. False: `stop` said so; then no job begins any more, and those that had begun may have
  /// broken off. If jobs throw, the first of them in order is the one that is thrown on, those before it are done, and
  /// none behind it begins. `progress` may be empty; it is called from the calling thread only.
  bool each(std::size_t count, const Job& job, const StopAsked& stop, const Progress& progress = {});

  /// The first of 0 to count - 1 for which `holds`; none also after a stop. All before it were asked to their end;
  /// some behind it may have been asked as well, ahead of time, and whatever they did or threw does not count.
  std::optional<std::size_t> first(std::size_t count, const Test& holds, const StopAsked& stop);

 private:
  /// One call.
  struct Batch {
    std::size_t count = 0;
    const Test* test = nullptr;
    const StopAsked* stop = nullptr;
    std::size_t next = 0;       // the first that is not taken
    std::size_t end = 0;        // no job from here on is needed: one ended the work, or there are no more
    std::exception_ptr thrown;  // by the job at `end`
    bool stopped = false;
    std::size_t running = 0;
    std::size_t done = 0;
    [[nodiscard]] bool wants_more() const { return !stopped && next < end; }
    [[nodiscard]] bool over() const { return !wants_more() && running == 0; }
  };

  std::mutex lock_;
  std::condition_variable_any more_;     // for the threads: there is something to take
  std::condition_variable_any changed_;  // for the caller: a job is done, or all is over
  Batch batch_;
  std::vector<std::jthread> threads_;  // last, so that they end before what they use

  void work(const std::stop_token& closing);
  void run_one(std::size_t index);
  [[nodiscard]] bool unneeded(std::size_t index);
  void run(std::size_t count, const Test& test, const StopAsked& stop, const Progress& progress);
};

}  // namespace hopbench
