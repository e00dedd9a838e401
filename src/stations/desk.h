// The desk that a node sits at: everything that it can do to the world. What it says of itself (why something goes no
// further, what it measured when) is for whoever keeps the books; nothing of that comes back.
#pragma once

#include <cstdint>

#include "base/time.h"
#include "bus/frame.h"
#include "engine/event_queue.h"
#include "seen/symptom.h"

namespace hopbench {

/// What is wrong with an answer because of a mistake in the design of its node.
enum class Amiss : std::uint8_t {
  nothing,
  name,      // it names another exchange
  content,   // it says something else than it should
  uncalled,  // it should not be at all
  age,       // its values are older than it says
};

/// What an answer was made from. For the books.
struct AnswerNotes {
  Frame ask;               // as heard
  Nanos asked_at = 0;      // when it was heard
  Nanos taken_at = never;  // when the values were measured; never: none were
  std::int64_t off_by_uv = 0;
  std::uint64_t frames_heard = 0;  // the node's counter
  Amiss amiss = Amiss::nothing;
};

class Desk {
 public:
  [[nodiscard]] virtual Nanos now() const = 0;

  // To send: as soon as the link is free. ---------------------------------------------------------------
  virtual void answer(std::uint16_t link, const Frame& frame, const AnswerNotes& notes) = 0;
  virtual void refuse(std::uint16_t link, const Frame& frame) = 0;
  virtual void pass_on(std::uint16_t link, const Frame& frame) = 0;
  /// Bytes that failed a check, as they are.
  virtual void pass_on(std::uint16_t link, const Content& content) = 0;

  // To be woken. ----------------------------------------------------------------------------------------
  /// Calls the node's on_job(job) at `at`, for what it has in hand now. Each number is for one job at a time.
  virtual void later(Nanos at, std::uint32_t job) = 0;
  /// None of the jobs asked for is done any more, because of this.
  virtual void drop_jobs(Cause why) = 0;
  /// Calls the node's on_wake(what) at `at`.
  virtual void wake(Nanos at, std::uint32_t what) = 0;

  // Its board. ------------------------------------------------------------------------------------------
  /// Voltage of one of its cells at an instant that is not long ago, as its board sees it over its taps; by how much
  /// that is lower while these cells are bled (a bit each), below 0 beside a cell that is.
  [[nodiscard]] virtual std::int64_t cell_uv(std::uint32_t cell, Nanos at) const = 0;
  [[nodiscard]] virtual std::int64_t bleed_drop_uv(std::uint32_t cell, std::uint32_t bled, Nanos at) const = 0;
  /// Its address or whether it is on is about to be another.
  virtual void changing() = 0;
  /// What it bleeds is.
  virtual void bleeds_changing() = 0;
  /// It bleeds other cells than before.
  virtual void bleeds_changed() = 0;
  /// It is on again.
  virtual void back_on() = 0;

  // For the books. --------------------------------------------------------------------------------------
  /// What it has in hand goes no further, because of this.
  virtual void ends_here(Cause why) = 0;
  /// What it has just heard is for this node, and it acts on it.
  virtual void takes() = 0;
  /// By a mistake in its design it goes on otherwise than it should with what it has just heard.
  virtual void mistakes() = 0;
  /// And that was damaged, and goes on as if it were not.
  virtual void takes_for_good() = 0;
  /// What it has just heard was longer than its buffer.
  virtual void no_room() = 0;

 protected:
  ~Desk() = default;
};

}  // namespace hopbench
