// Exchanges in progress: every try, every frame on every link, until nothing of them is on its way any more. Then each
// is handed on as one observation and, apart from it, one truth.
#pragma once

#include <cstdint>
#include <memory>
#include <vector>

#include "base/archive.h"
#include "base/fifo.h"
#include "base/time.h"
#include "books/passport.h"
#include "bus/frame.h"
#include "scenario/description.h"
#include "seen/observation.h"

namespace hopbench {

/// What only the bench knows of one try.
struct TryNotes {
  AttemptTruth truth;         // the first reason why it came to nothing
  Blame suspect;              // what was done to it that may have led to nothing, if no reason turns up
  bool taken = false;         // the ask has come to the node that it is for
  bool answered = false;      // the node made an answer
  bool came_round = false;    // the ask came back to the controller
  bool went_all_way = false;  // the ask was heard well by the last node
  Holdups holdups;            // of what was on its way of it, as far as that has come
};

/// What is known of one exchange so far.
struct Trace {
  std::uint64_t number = 0;
  std::uint32_t entry = 0;
  std::uint64_t turn = 0;
  std::uint16_t node = nobody;
  bool everyone = false;  // whom it was asked of, if not of a node
  Nanos start = 0;
  Nanos since_last = -1;
  Nanos decided = never;
  Nanos round_trip = -1;
  Outcome outcome = Outcome::lost;
  bool ends_at_last_node = false;  // asked of everyone, and nothing comes back: done when the last node has it
  std::uint32_t alive = 0;         // parcels on their way, jobs that hold one
  std::vector<Attempt> attempts;
  std::vector<TryNotes> notes;  // as attempts
  std::vector<HopRow> rows;
  std::vector<std::uint8_t> row_state;  // 0 unresolved and nothing heard, 1 unresolved, 2 resolved
  std::vector<bool> row_over;           // not on its way any more
  std::vector<RowTruth> row_truths;
  std::vector<FaultStrike> strikes;
  std::vector<RowDamage> damage;
  Content asked;
  Content answered;
  Content replied;  // by the last answer that came well over its first hop

  [[nodiscard]] bool is_decided() const { return decided != never; }
};

/// Takes exchanges that are over in place of the listener.
class TraceTaker {
 public:
  /// The trace's rows are in order, its truths settled. It is forgotten after the call.
  virtual void closed(Trace& trace, Nanos now) = 0;

 protected:
  ~TraceTaker() = default;
};

class Traces {
 public:
  /// Both must outlive it.
  Traces(Sink& sink, const ChainDescription& chain) : sink_(&sink), chain_(&chain) {}
  /// From now on what is over goes there and not to the sink.
  void hand_to(TraceTaker& taker) { taker_ = &taker; }

  /// Begins an exchange; numbers count up from 0.
  Trace& open(std::uint32_t entry, std::uint64_t turn, std::uint16_t node, Nanos start);
  /// The exchange with this number if it is still in progress, else null.
  [[nodiscard]] Trace* find(std::uint64_t number) {
    if (!open_.empty() && open_.back()->number == number) return open_.back().get();  // nearly always
    return find_earlier(number);
  }

  /// Begins a try.
  void attempt(Trace& trace, Nanos start, Nanos ask_end);
  /// The first reason why a try came to nothing is the one that counts.
  void blame(std::uint64_t number, std::uint8_t attempt, const Blame& blame);
  /// What became of this frame is the reason, unless it is an ask that its node had heard by then: of that the rest may
  /// run on, where a node cannot take it off the chain.
  void blame(const Passport& frame, const Blame& blame);
  /// Something was done to a frame of this try that need not have done harm. It is the reason if no other turns up.
  void suspect(std::uint64_t number, std::uint8_t attempt, const Blame& blame);
  /// The same of this frame, with the exception of blame().
  void suspect(const Passport& frame, const Blame& blame);
  /// An injected fault struck, whether it did harm or not.
  void struck(std::uint64_t number, const FaultStrike& strike);

  /// Adds a frame's row; returns its index.
  std::uint32_t add_row(std::uint64_t number, const HopRow& row);
  void resolve_row(std::uint64_t number, std::uint32_t row, Symptom symptom);
  void row_heard_something(std::uint64_t number, std::uint32_t row);
  /// What came out of the link first differs from what went in there. Counts if the row turns out damaged.
  void row_damaged(std::uint64_t number, const RowDamage& damage);
  /// An answer with this content was heard well. Counts if that was on its first hop.
  void answer_heard(std::uint64_t number, std::uint32_t row, const Content& content);
  /// Its frame has passed the link. A row that is still on its way when the record is closed is left out: nobody knows
  /// yet.
  void row_over(std::uint64_t number, std::uint32_t row);
  /// What only the bench knows of a try; null if there is no such try in progress.
  [[nodiscard]] TryNotes* notes(std::uint64_t number, std::uint8_t attempt);
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

  /// Where its numbers stand, when none is open.
  void keep(Archive& archive);

 private:
  /// An ask that its node had heard by then, beyond it.
  [[nodiscard]] bool only_runs_on(const Passport& frame, const Blame& why);
  [[nodiscard]] Trace* find_earlier(std::uint64_t number);
  void close(Trace& trace, Nanos now);
  void settle_tries(Trace& trace, Nanos now) const;
  void put_rows_in_order(Trace& trace);
  /// Those of which nobody knows yet are left out.
  void sort_rows(Trace& trace);
  void tell(const Trace& trace, Nanos now);

  Sink* sink_;
  const ChainDescription* chain_;
  TraceTaker* taker_ = nullptr;
  std::uint64_t next_number_ = 0;
  std::uint64_t closed_ = 0;
  std::uint64_t closed_early_ = 0;
  Fifo<std::unique_ptr<Trace>> open_;          // mostly few; in the order of asking, which is that of their numbers
  std::vector<std::unique_ptr<Trace>> spare_;  // kept for their buffers
  std::vector<std::uint32_t> order_;           // scratch
  std::vector<std::uint32_t> place_;
  std::vector<HopRow> sorted_;
  std::vector<AttemptTruth> truths_;
};

}  // namespace hopbench
