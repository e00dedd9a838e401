// How a capture is written: what is waited for, what is dropped, and how often the disk is asked.
#pragma once

#include <cstdint>
#include <functional>
#include <utility>

#include "base/time.h"

namespace hopbench {

/// What to do with a record for which the queue to the writer's thread has no room.
enum class WhenFull : std::uint8_t {
  wait,  // hold the run up: virtual time has time
  drop,  // leave the record out, count it, and say so in the capture
};

/// Is told how far the capture has got. Called from the writer's thread; must not wait.
class Acknowledge {
 public:
  /// So many of the run's records were handed to the system: they outlive this process.
  virtual void written(std::uint64_t records) = 0;
  /// So many of the run's records are on the disk: they outlive a power cut.
  virtual void synced(std::uint64_t records) = 0;

 protected:
  ~Acknowledge() = default;
};

/// Times are of `clock`, which is monotonic and is read from two threads. They are looked at when a record comes and
/// at each CaptureWriter::tick(): nothing here has a timer of its own.
struct WritePlan {
  WhenFull when_full;
  std::function<Nanos()> clock;
  std::uint64_t queue_bytes;       // that may wait for the disk, roughly; at least one record always may
  Nanos hand_over_every;           // a record waits that long at most before it is given to the writer's thread
  Nanos sync_every;                // and that long before the disk is asked for it
  Nanos try_again_every;           // while no file can be written
  std::uint64_t rotate_bytes = 0;  // largest file, roughly; 0: no limit
  Acknowledge* acknowledge = nullptr;
};

inline constexpr std::uint64_t usual_queue_bytes = 4 * 1024 * 1024;

/// For a chain in real time, which must never wait for a disk.
inline WritePlan real_time_plan(std::function<Nanos()> clock) {
  return {WhenFull::drop, std::move(clock), usual_queue_bytes, 100 * millisecond, second, second};
}

/// For a chain in virtual time, and for making one capture of another: slow is better than not whole.
inline WritePlan unhurried_plan(std::function<Nanos()> clock) {
  return {WhenFull::wait, std::move(clock), usual_queue_bytes, second, 5 * second, second};
}

/// The computer's monotonic clock.
Nanos monotonic_now();

}  // namespace hopbench
