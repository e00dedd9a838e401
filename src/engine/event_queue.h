// What happens when. The queue knows instants and whom to tell, and nothing of frames.
//
// Order at one instant is by what an event is (rank), then whom it concerns (entity, port); only what is equal in all
// of that keeps the order in which it was queued. Two ways of running a chain queue different numbers of events, and
// still see equal times in the same order.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <vector>

#include "base/archive.h"
#include "base/time.h"

namespace hopbench {

/// What an event is. Lower comes first at one instant: an answer that arrives on the deadline counts.
enum class Rank : std::uint8_t {
  signal = 0,   // a first edge appears on a link
  arrival = 1,  // something has been heard
  wake = 2,     // a timer
  plan = 3,     // the controller's next exchange
  release = 4,  // bookkeeping after all of that
};

/// Somebody to whom things happen.
class Actor {
 public:
  virtual void on_event(Nanos now, std::uint64_t what) = 0;
  /// True if on_event() with this word would do nothing, now and ever: what it was about is over.
  [[nodiscard]] virtual bool is_over(Nanos at, std::uint64_t what) const {
    static_cast<void>(at);
    static_cast<void>(what);
    return false;
  }
  /// An event with this word may be due while nothing is under way. (One that is not over says that something is.)
  [[nodiscard]] virtual bool may_be_due_in_quiet(std::uint64_t what) const {
    static_cast<void>(what);
    return false;
  }

 protected:
  ~Actor() = default;
};

class EventQueue {
 public:
  /// `most_at_one_instant`: events at one instant after which the run counts as stuck. Its clock begins at `start`.
  EventQueue(std::uint64_t most_at_one_instant, Nanos start) : now_(start), limit_(most_at_one_instant) {}

  /// Tells `actor` at `at`. `what` is the actor's own word. The actor must live until then. At `never` nobody is told.
  /// An instant before now() is refused, and the queue is stuck from then on: time does not go back.
  void push(Nanos at, Rank rank, std::uint16_t entity, std::uint8_t port, Actor& actor, std::uint64_t what);

  /// When the next event is due; `never` if none is queued. Of a queue that is stuck: now.
  [[nodiscard]] Nanos next_at() const { return refused_ ? now_ : heap_.empty() ? never : heap_.front().at; }
  [[nodiscard]] Nanos now() const { return now_; }

  /// Rank of the next event; of none, the last one there is.
  [[nodiscard]] Rank next_rank() const {
    return heap_.empty() ? Rank::release : static_cast<Rank>(heap_.front().order >> 24U);
  }
  [[nodiscard]] std::size_t size() const { return heap_.size(); }

  /// Forgets events that are over, and tells when the first one after the next is due; `never` if there is none. Looks
  /// at every event: for a queue that is nearly empty.
  [[nodiscard]] Nanos after_next();
  /// Does the first of the events of this rank that are due at next_at(), before events of other ranks. Returns false
  /// if there is none.
  [[nodiscard]] bool step_of_rank(Rank rank);
  /// Takes the next event out undone.
  void drop_next();

  /// Does the next event. Returns false, doing nothing, if there is none or the queue is stuck.
  [[nodiscard]] bool step();

  /// Moves now() on to `at` (not backwards, and not beyond the next event).
  void advance(Nanos at);

  /// No event is due, but for what is over, that says that something is under way.
  [[nodiscard]] bool quiet() const;
  /// The time; then what is due, if it is quiet. `actor_of`: whom an entity stands for; null: nobody. What is queued
  /// already is forgotten when it is put back.
  void keep_time(Archive& archive);
  void keep_events(Archive& archive, const std::function<Actor*(std::uint16_t entity)>& actor_of);

 private:
  struct Event {
    Nanos at;
    std::uint64_t order;  // rank, entity, port
    std::uint64_t sequence;
    Actor* actor;
    std::uint64_t what;
  };
  struct Later {
    bool operator()(const Event& a, const Event& b) const;
  };

  void remove(std::size_t place);
  void keep_event(Archive& archive, Event& event, const std::function<Actor*(std::uint16_t entity)>& actor_of) const;

  std::vector<Event> heap_;
  Nanos now_;
  std::uint64_t sequence_ = 0;
  std::uint64_t at_this_instant_ = 0;
  std::uint64_t limit_;
  bool refused_ = false;  // an event that lay in the past
};

}  // namespace hopbench
