// A run in virtual time with a real controller, which is a program: started by us, or connected to a socket of ours.
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <string>
#include <variant>
#include <vector>

#include "base/time.h"
#include "bus/protocol.h"
#include "port/byte_port.h"
#include "scenario/description.h"
#include "seen/observation.h"
#include "wires/way.h"

namespace hopbench {

/// Where the controller is.
struct ControllerAt {
  std::string name;                // for lines about it
  std::vector<std::string> words;  // the program and its arguments; empty: it connects to `socket`
  std::string socket;
};
/// Reads "exec:PROGRAM ARGUMENTS..." or "socket:PATH"; or says what would be right.
std::variant<ControllerAt, PortError> controller_at(const std::string& text);

struct GrantedOptions {
  Nanos span = 0;  // length of the run, from where its clock begins
  /// By the computer's clock: how long the controller may take until it waits again. 0: for ever. Where it is done in
  /// time it leaves no trace in the records.
  std::chrono::milliseconds hang_after{0};
  std::function<bool()> stop;                    // asked now and then, from the calling thread; may be empty
  std::function<void(Nanos now)> tick;           // called some times a second; may be empty
  std::function<void(const std::string&)> note;  // what the controller logs, and what is worth a line; may be empty
};

struct GrantedEnd {
  enum class Why : std::uint8_t {
    time,           // the run went to its end
    stopped,        // because `stop` said so
    left,           // the controller said that it ends, before the run did
    no_controller,  // it could not be started, or the socket not be made: the sink has heard nothing
    controller,     // it died, hung, flooded or sent nonsense
    stuck,          // the chain goes round without time passing
  };
  Why why = Why::time;
  Nanos at = 0;      // of the run's clock
  std::string what;  // one line about the controller where it ended the run; "" else
};

/// Runs a chain of simulated nodes with that controller. The same program, scenario and seed make the same records. The
/// sink has been told all up to the end, whatever came of it, and of its own accord nothing outlives the call: a
/// program that was started is ended. Safe to call from several threads at once, each with a sink of its own, with
/// programs; of a socket there can be one.
GrantedEnd run_granted(const Protocol& protocol, const ChainDescription& chain, std::uint64_t seed, Way way,
                       const ControllerAt& at, const GrantedOptions& options, Sink& sink);

}  // namespace hopbench
