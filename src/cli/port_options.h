// Where a real controller finds the simulated chain: a pseudo-terminal, a Unix socket or a serial port.
#pragma once

#include <CLI/CLI.hpp>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "base/time.h"
#include "bus/description.h"
#include "bus/protocol.h"
#include "cli/cautions.h"
#include "port/byte_port.h"
#include "port/session.h"

namespace hopbench {

struct PortOptions {
  std::string pty;
  std::string socket;
  std::string serial;
  std::string time_out;  // as it was given; good once read_port_time_out() has been at it
  Permissions permissions;

  /// How many of them are named.
  [[nodiscard]] int places() const { return int{!pty.empty()} + int{!socket.empty()} + int{!serial.empty()}; }
};

/// The options; the last two are the permissions.
std::vector<CLI::Option*> add_port_options(CLI::App& command, PortOptions& options);

/// Says the cautions. False, said on the standard error, if a permission is missing for this chain, or one was given
/// without a real port.
bool may_use_port(const PortOptions& options, const ChainDescription& chain);

/// How long the controller waits for an answer; none if nobody has said. False, said on the standard error, if it is no
/// duration.
bool read_port_time_out(const PortOptions& options, std::optional<Nanos>& time_out);

struct OpenedPort {
  std::unique_ptr<BytePort> port;
  std::string place;
};
/// None, with `why`, if it cannot be had. What was found when it was opened goes to the standard error.
std::optional<OpenedPort> open_port(const PortOptions& options, const LineCoding& line, std::string& why);

/// How much longer a run goes on after it was told to end. Where a pause ends a frame, the answer handed over last is
/// only known to be whole after the pause.
Nanos linger_of(const Protocol& protocol);

/// One line on the standard error about it.
void say_of_port(const std::string& what);
/// What the controller has to know, and what this costs it.
void say_ready(const OpenedPort& opened, const ChainDescription& chain, std::uint64_t seed, const LineCoding& line);

}  // namespace hopbench
