#include "work/workers.h"

#include <algorithm>
#include <utility>

namespace hopbench {

Workers::Workers(unsigned threads) {
  for (unsigned i = 0; i < std::max(1U, threads); ++i) {
    threads_.emplace_back([this](const std::stop_token& closing) { work(closing); });
  }
}

bool Workers::each(std::size_t count, const Job& job, const StopAsked& stop, const Progress& progress) {
  const Test never_enough = [&job](std::size_t index, const StopAsked& unneeded) {
    job(index, unneeded);
    return false;
  };
  run(count, never_enough, stop, progress);
  return !batch_.stopped;
}

std::optional<std::size_t> Workers::first(std::size_t count, const Test& holds, const StopAsked& stop) {
  run(count, holds, stop, {});
  if (batch_.stopped || batch_.end == count) return std::nullopt;
  return batch_.end;
}

void Workers::run(std::size_t count, const Test& test, const StopAsked& stop, const Progress& progress) {
  std::unique_lock hold(lock_);
  batch_ = {};
  batch_.count = batch_.end = count;
  batch_.test = &test;
  batch_.stop = &stop;
  more_.notify_all();
  std::size_t told = 0;
  std::exception_ptr from_progress;
  while (!batch_.over() || told < batch_.done) {
    changed_.wait(hold, [&] { return batch_.over() || told < batch_.done; });
    if (told == batch_.done) continue;
    told = batch_.done;
    if (!progress || from_progress) continue;
    hold.unlock();
    try {
      progress(told, count);
    } catch (...) {
      from_progress = std::current_exception();
    }
    hold.lock();
    if (from_progress) batch_.stopped = true;
  }
  if (batch_.thrown) std::rethrow_exception(std::exchange(batch_.thrown, nullptr));
  if (from_progress) std::rethrow_exception(from_progress);
}

void Workers::work(const std::stop_token& closing) {
  std::unique_lock hold(lock_);
  while (more_.wait(hold, closing, [this] { return batch_.wants_more(); })) {
    const std::size_t index = batch_.next++;
    ++batch_.running;
    hold.unlock();
    run_one(index);
    hold.lock();
    --batch_.running;
    changed_.notify_one();
  }
}

void Workers::run_one(std::size_t index) {
  const StopAsked look = [this, index] { return unneeded(index); };
  if (look()) return;
  bool enough = false;
  std::exception_ptr thrown;
  try {
    enough = (*batch_.test)(index, look);
  } catch (...) {
    thrown = std::current_exception();
  }
  const std::lock_guard hold(lock_);
  ++batch_.done;
  if ((!enough && !thrown) || index >= batch_.end) return;
  batch_.end = index;
  batch_.thrown = thrown;
}

bool Workers::unneeded(std::size_t index) {
  if ((*batch_.stop)()) {
    const std::lock_guard hold(lock_);
    batch_.stopped = true;
    return true;
  }
  const std::lock_guard hold(lock_);
  return batch_.stopped || index > batch_.end;
}

}  // namespace hopbench
