// Exchanges in progress: every try, every frame on every link, until nothing of them is on its way any more. Then each
// becomes one observation (and, apart from it, one truth) for whoever listens.
#pragma once

#include <cstdint>
#include <memory>
#include <vector>

#include "base/fifo.h"
#include "base/time.h"
#include "bus/frame.h"
#include "chain/parcel.h"
#include "seen/observation.h"

namespace hopbench {

/// What is known of one exchange so far.
struct Trace {
  std::uint64_t number = 0;
  std::uint32_t entry = 0;
  std::uint64_t turn = 0;
  std::uint16_t node = nobody;
  Nanos start = 0;
  Nanos since_last = -1;
  Nanos decided = never;
  Nanos round_trip = -1;
  Outcome outcome = Outcome::lost;
  bool closes_by_window = false;
  std::uint32_t alive = 0;  // parcels on their way, jobs that hold one
  std::vector<Attempt> attempts;
  std::vector<AttemptTruth> attempt_truths;
  std::vector<Content> sent_payloads;  // what the node answered, by try; empty if it did not
  std::vector<HopRow> rows;
  std::vector<std::uint8_t> row_state;  // 0 unresolved and nothing heard, 1 unresolved, 2 resolved
  std::vector<bool> row_over;           // not on its way any more
  std::vector<bool> came_round;         // by try: the ask came back to the controller
  std::vector<RowTruth> row_truths;
  Content asked;
  Content answered;

  [[nodiscard]] bool is_decided() const { return decided != never; }
};

class Traces {
 public:
  explicit Traces(Sink& sink) : sink_(&sink) {}

  /// Begins an exchange; numbers count up from 0.
  Trace& open(std::uint32_t entry, std::uint64_t turn, std::uint16_t node, Nanos start);
  /// The exchange with this number if it is still in progress, else null.
  [[nodiscard]] Trace* find(std::uint64_t number);

  /// Begins a try.
  void attempt(Trace& trace, Nanos start, Nanos ask_end);
  /// The first reason why a try came to nothing is the one that counts.
  void blame(std::uint64_t number, std::uint8_t attempt, const Blame& blame);

  /// Adds a frame's row; returns its index.
  std::uint32_t add_row(std::uint64_t number, const HopRow& row);
  void resolve_row(std::uint64_t number, std::uint32_t row, Symptom symptom);
  void row_heard_something(std::uint64_t number, std::uint32_t row);
  /// Its frame has passed the link. A row that is still on its way when the record is closed is left out: nobody knows
  /// yet.
  void row_over(std::uint64_t number, std::uint32_t row);
  /// The ask of this try came back to the controller. If nothing else explains why the try came to nothing: nobody had
  /// that address, or (an ask to everyone) the way round took longer than the time-out.
  void came_round(std::uint64_t number, std::uint8_t attempt);
  void add_truth(std::uint64_t number, const RowTruth& truth);

  /// Something of the exchange is on its way (and is so no more).
  void hold(std::uint64_t number);
  void release(std::uint64_t number, Nanos now);
  /// Settles the outcome; the record is closed as soon as nothing of it is on its way.
  void decide(Trace& trace, Nanos now, Outcome outcome);
  /// Closes a decided exchange although something of it may still be on its way.
  void close_now(std::uint64_t number, Nanos now);
  /// Closes everything, as at the end of a run. `undecided`: also what is not decided, as lost; otherwise nobody hears
  /// of it.
  void close_all(Nanos now, bool undecided);

  /// An exchange that is told without having been open. Returns its number.
  std::uint64_t pass_over() {
    ++closed_;
    return next_number_++;
  }
  [[nodiscard]] bool any_open() const { return !open_.empty(); }
  [[nodiscard]] std::uint64_t opened() const { return next_number_; }
  [[nodiscard]] std::uint64_t closed() const { return closed_; }
  /// Those of them that were closed by close_now() while something of them was on its way: their records do not tell
  /// all.
  [[nodiscard]] std::uint64_t closed_early() const { return closed_early_; }

 private:
  void close(Trace& trace, Nanos now);

  Sink* sink_;
  std::uint64_t next_number_ = 0;
  std::uint64_t closed_ = 0;
  std::uint64_t closed_early_ = 0;
  Fifo<std::unique_ptr<Trace>> open_;          // mostly few; in the order of asking, which is that of their numbers
  std::vector<std::unique_ptr<Trace>> spare_;  // kept for their buffers
  std::vector<std::uint32_t> order_;           // scratch
  std::vector<std::uint32_t> place_;
  std::vector<HopRow> sorted_;
};

}  // namespace hopbench
