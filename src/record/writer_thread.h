// The thread that writes a capture, and the queue to it.
#pragma once

#include <condition_variable>
#include <cstdint>
#include <memory>
#include <mutex>
#include <optional>
#include <span>
#include <thread>
#include <vector>

#include "record/batch.h"
#include "record/segment_writer.h"

namespace hopbench {

/// Takes records from one thread, the caller's, and has another write them, in the same order. They are handed over in
/// batches, so that a record costs neither a lock nor a wake-up; batches are used again, so that it costs no memory.
/// The writing thread goes on taking what comes whatever happens to the files, so nobody waits for it in vain (unless
/// the system itself never comes back from a call).
class WriterThread {
 public:
  /// Both must outlive it. Throws std::system_error if there is no thread to be had.
  WriterThread(SegmentWriter& segments, const WritePlan& plan);
  /// Hands over what there is and waits until it is written; syncs it.
  ~WriterThread();
  WriterThread(const WriterThread&) = delete;
  WriterThread& operator=(const WriterThread&) = delete;

  void append(const Batch::Item& item, std::span<const std::uint8_t> payload);
  /// Hands over what there is. With WhenFull::drop only if the queue has room; the records stay here if not.
  void flush();
  /// Hands over what there is and waits until it is written.
  void drain();
  /// The run's last record. Waits until all is written and synced.
  void end(const EndRecord& end);

  struct Counts {
    std::uint64_t appended = 0;   // all, in the order of this list from here to the disk
    SegmentWriter::Counts files;  // as of the last batch that was written
    std::uint64_t dropped = 0;    // in all; appended = written + dropped once all is drained
  };
  [[nodiscard]] Counts counts() const;

 private:
  void run();
  /// False: no room, and it must not wait.
  bool hand_over(bool wait);
  void lose(const Batch::Item& item, const char* why);
  /// Lets what was lost go along with the next batch.
  bool pass_on_lost(bool wait);

  SegmentWriter& segments_;
  WhenFull when_full_;
  std::uint64_t queue_bytes_;

  // The caller's.
  std::unique_ptr<Batch> filling_;
  std::uint64_t appended_ = 0;
  std::uint64_t dropped_ = 0;
  Lost lost_;  // since the last batch that was handed over
  const char* why_lost_ = "";

  mutable std::mutex mutex_;
  std::condition_variable work_;  // for the writing thread
  std::condition_variable room_;  // for the caller
  // Under the mutex.
  std::vector<std::unique_ptr<Batch>> queue_;  // a ring
  std::size_t first_ = 0;
  std::size_t queued_ = 0;
  std::vector<std::unique_ptr<Batch>> spare_;
  std::uint64_t waiting_bytes_ = 0;  // in the queue and being written
  bool busy_ = false;
  bool look_ = false;  // at the clock
  bool stop_ = false;
  std::optional<EndRecord> end_;
  SegmentWriter::Counts files_;

  std::thread thread_;
};

}  // namespace hopbench
