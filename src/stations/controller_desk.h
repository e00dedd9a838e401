// The desk that a scenario's controller sits at: all that it can do to the world. What it says of its exchanges is for
// the books; nothing of them comes back to it.
#pragma once

#include <cstdint>

#include "base/time.h"
#include "bus/frame.h"
#include "engine/event_queue.h"
#include "seen/symptom.h"

namespace hopbench {

/// An exchange as its controller begins it.
struct Asking {
  std::uint32_t entry = 0;
  std::uint64_t entry_hash = 0;  // of the plan entry's name
  std::uint64_t turn = 0;
  std::uint16_t node = 0xffff;      // 0xffff everyone
  bool nothing_comes_back = false;  // asked of everyone, and over when it is sent
  Nanos since_last = -1;            // from the last edge heard or sent before; -1 none
};

class ControllerDesk {
 public:
  [[nodiscard]] virtual Nanos now() const = 0;
  /// Another exchange may be begun.
  [[nodiscard]] virtual bool may_begin() const = 0;
  virtual void wake(Nanos at, Rank rank, std::uint8_t port, std::uint64_t what) = 0;

  virtual void begin(const Asking& asking, const Frame& ask) = 0;
  /// Sends the ask for a try, as soon as the link is free. `reads`: its bytes say what the frame says.
  struct Sending {
    Nanos start = 0;
    Nanos end = 0;
  };
  virtual Sending ask(const Frame& ask, bool reads) = 0;

  // What has just been heard. -----------------------------------------------------------------------------
  /// It is the answer (or the refusal, or what went round) that the exchange waits for: the exchange is over.
  virtual void takes(Outcome outcome, const Frame& frame) = 0;
  /// Something came for the exchange at hand, and it is of no use.
  virtual void cannot_read() = 0;
  /// Nothing waits for it.
  virtual void has_no_use() = 0;

  // Without anything heard. -------------------------------------------------------------------------------
  /// The try at hand comes to nothing. `why`: what the controller knows of itself; none otherwise.
  virtual void try_fails(Outcome outcome, Cause why) = 0;
  /// The exchange is over.
  virtual void gives_up(Outcome outcome) = 0;

  // Before it looks at what its nodes told. ---------------------------------------------------------------
  /// It is about to look at what it has read: whatever was heard by now, it has to have been told.
  virtual void about_to_look() = 0;

 protected:
  ~ControllerDesk() = default;
};

}  // namespace hopbench
