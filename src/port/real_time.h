// Runs a session by the computer's clock until it ends: the one place that waits.
#pragma once

#include <cstdint>
#include <functional>
#include <string>

#include "base/time.h"
#include "port/byte_port.h"
#include "port/session.h"

namespace hopbench {

struct RealTimeOptions {
  Nanos from = 0;                                // what its clock shows at the start
  Nanos until = never;                           // ends then, by that clock
  Nanos linger = 0;                              // how much longer it runs after a signal, or when it is to stop
  std::function<void()> ready;                   // called once, when bytes and signals are waited for; may be empty
  Nanos tick_every = 200 * millisecond;          // how often `tick` is called
  std::function<void(Nanos now)> tick;           // may be empty
  std::function<bool()> stop;                    // asked after each tick whether to end; may be empty
  bool signals = true;                           // false: they are somebody else's
  std::function<void(const std::string&)> note;  // what the port has to tell; may be empty
};

struct RealTimeEnd {
  enum class Why : std::uint8_t { time, signal, stopped, port_gone, stuck };
  Why why = Why::time;
  Nanos at = 0;  // by the session's clock; it has been woken at this instant
};

/// The clock shows options.from at the call. It is monotonic and takes no part in changes of the date. SIGINT, SIGTERM
/// and, unless it is ignored, SIGHUP end the run; they are then back at what they do by default, so that a second one
/// ends the process at once.
RealTimeEnd run_in_real_time(Session& session, BytePort& port, const RealTimeOptions& options);

}  // namespace hopbench
