#include "record/writer_thread.h"

#include <pthread.h>

#include <algorithm>
#include <csignal>
#include <utility>

namespace hopbench {
namespace {

/// A batch is handed over when it holds so much: about a block of the file.
constexpr std::size_t batch_bytes = block_bytes;

/// No signal is taken on the writing thread: Ctrl-C is the caller's, and a reader that went away or a file that grew
/// too long comes as an error of the call.
class SignalsOff {
 public:
  SignalsOff() {
    sigset_t all;
    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before_);
  }
  ~SignalsOff() { pthread_sigmask(SIG_SETMASK, &before_, nullptr); }
  SignalsOff(const SignalsOff&) = delete;
  SignalsOff& operator=(const SignalsOff&) = delete;

 private:
  sigset_t before_;
};

}  // namespace

WriterThread::WriterThread(SegmentWriter& segments, const WritePlan& plan)
    : segments_(segments), when_full_(plan.when_full), queue_bytes_(plan.queue_bytes), files_(segments.counts()) {
  const std::size_t batches = static_cast<std::size_t>(queue_bytes_ / batch_bytes) + 1;
  queue_.resize(batches);
  spare_.reserve(batches + 1);
  for (std::size_t i = 0; i <= batches; ++i) spare_.push_back(std::make_unique<Batch>());
  filling_ = std::make_unique<Batch>();
  const SignalsOff off;
  thread_ = std::thread([this] { run(); });
}

WriterThread::~WriterThread() {
  pass_on_lost(true);
  if (!filling_->empty()) hand_over(true);
  {
    const std::lock_guard lock(mutex_);
    stop_ = true;
  }
  work_.notify_one();
  thread_.join();
}

void WriterThread::append(const Batch::Item& item, std::span<const std::uint8_t> payload) {
  ++appended_;
  if (payload.size() > max_record_bytes) {
    lose(item, "a record was longer than a capture can hold");
    return;
  }
  // What comes after a lost record must not stand before the one that tells of it.
  const bool full =
      !filling_->items().empty() && (lost_.records > 0 || filling_->bytes().size() + payload.size() > batch_bytes);
  if (full && !hand_over(when_full_ == WhenFull::wait)) {
    lose(item, "the disk was slower than the chain");
    return;
  }
  if (filling_->items().empty()) pass_on_lost(false);
  filling_->put(item, payload);
}

void WriterThread::lose(const Batch::Item& item, const char* why) {
  ++dropped_;
  lost_.add({1, item.from, item.to});
  why_lost_ = why;
}

bool WriterThread::pass_on_lost(bool wait) {
  if (lost_.records == 0) return true;
  // It lies after the records that are here already.
  if (!filling_->items().empty() && !hand_over(wait)) return false;
  filling_->lost_before.add(std::exchange(lost_, {}));
  filling_->why_lost = why_lost_;
  return true;
}

bool WriterThread::hand_over(bool wait) {
  const std::uint64_t bytes = filling_->bytes().size();
  {
    std::unique_lock lock(mutex_);
    const auto has_room = [&] {
      return queued_ < queue_.size() && !spare_.empty() &&
             (waiting_bytes_ == 0 || waiting_bytes_ + bytes <= queue_bytes_);
    };
    if (!has_room()) {
      if (!wait) return false;
      room_.wait(lock, has_room);
    }
    queue_[(first_ + queued_) % queue_.size()] = std::move(filling_);
    ++queued_;
    waiting_bytes_ += bytes;
    filling_ = std::move(spare_.back());
    spare_.pop_back();
  }
  work_.notify_one();
  return true;
}

void WriterThread::flush() {
  const bool wait = when_full_ == WhenFull::wait;
  if (!pass_on_lost(wait)) return;
  if (!filling_->empty()) {
    hand_over(wait);
    return;
  }
  {
    const std::lock_guard lock(mutex_);
    look_ = true;
  }
  work_.notify_one();
}

void WriterThread::drain() {
  pass_on_lost(true);
  if (!filling_->empty()) hand_over(true);
  std::unique_lock lock(mutex_);
  room_.wait(lock, [&] { return queued_ == 0 && !busy_ && !end_ && !look_; });
}

void WriterThread::end(const EndRecord& end) {
  drain();
  ++appended_;
  {
    const std::lock_guard lock(mutex_);
    end_ = end;
  }
  work_.notify_one();
  drain();
}

WriterThread::Counts WriterThread::counts() const {
  const std::lock_guard lock(mutex_);
  return {appended_, files_, dropped_ + files_.dropped};
}

void WriterThread::run() {
  std::unique_lock lock(mutex_);
  const auto unlocked = [&](auto work) {
    busy_ = true;
    lock.unlock();
    try {
      work();
    } catch (...) {
      segments_.give_up();
    }
    lock.lock();
    busy_ = false;
  };
  while (true) {
    work_.wait(lock, [&] { return queued_ > 0 || end_ || look_ || stop_; });
    if (queued_ > 0) {
      const auto bytes = queue_[first_]->bytes().size();
      auto batch = std::move(queue_[first_]);
      first_ = (first_ + 1) % queue_.size();
      --queued_;
      unlocked([&] {
        segments_.take(*batch);
        batch->clear(2 * batch_bytes);
        segments_.tick();
      });
      waiting_bytes_ -= bytes;
      spare_.push_back(std::move(batch));
    } else if (end_) {
      unlocked([&] { segments_.end(*end_); });
      end_.reset();
    } else if (look_) {
      look_ = false;
      unlocked([&] { segments_.tick(); });
    } else {
      unlocked([&] { segments_.sync(); });
      return;
    }
    files_ = segments_.counts();
    room_.notify_all();
  }
}

}  // namespace hopbench
