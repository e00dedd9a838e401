#include "cli/port_options.h"

#include <fmt/format.h>

#include <utility>
#include <variant>

#include "base/duration.h"
#include "base/plain_text.h"
#include "cli/commands.h"
#include "cli/say.h"
#include "port/pty.h"
#include "port/serial.h"
#include "port/unix_socket.h"

namespace hopbench {
namespace {

std::string name_of(const LineCoding& line) {
  const char parity = line.parity == Parity::none ? 'N' : line.parity == Parity::even ? 'E' : 'O';
  return fmt::format("{} Bd {}{}{}", line.baud, line.data_bits, parity, line.stop_half_bits / 2.0);
}

template <class Port>
std::optional<OpenedPort> opened(std::variant<std::unique_ptr<Port>, PortError> made, const std::string& place,
                                 std::string& why) {
  if (auto* port = std::get_if<std::unique_ptr<Port>>(&made)) return OpenedPort{std::move(*port), place};
  why = std::get<PortError>(made).what;
  return std::nullopt;
}

}  // namespace

void say_of_port(const std::string& what) { say_line("hopbench: {}\n", what); }

Nanos linger_of(const Protocol& protocol) {
  const Period bit = period_of_baud(protocol.line().baud);
  return protocol.end_silence(bit) + span_of_bits(protocol.line().char_half_bits(), bit);
}

std::vector<CLI::Option*> add_port_options(CLI::App& command, PortOptions& options) {
  auto* pty = command
                  .add_option("--pty", options.pty,
                              "Make a pseudo-terminal, and this link to it for the controller to open, e.g. chain")
                  ->type_name("LINK");
  auto* socket = command
                     .add_option("--socket", options.socket,
                                 "Make a Unix socket here for the controller to connect to, e.g. chain.socket")
                     ->type_name("PATH");
  auto* serial =
      command
          .add_option("--serial", options.serial, "Use this serial port, e.g. /dev/ttyUSB0; read docs/safety.md first")
          ->type_name("DEVICE");
  auto* time_out = command
                       .add_option("--time-out", options.time_out,
                                   "State how long your controller waits for an answer from the end of its ask, e.g. "
                                   "150ms (default: not known)")
                       ->type_name("DURATION");
  auto* send = command.add_flag(send_option, options.permissions.send,
                                "Allow the chain to send on the port of --serial (default: refuse)");
  auto* inject = command.add_flag(inject_option, options.permissions.inject, inject_help);
  return {pty, socket, serial, time_out, send, inject};
}

bool may_use_port(const PortOptions& options, const ChainDescription& chain) {
  const bool real_port = !options.serial.empty();
  if (!real_port && (options.permissions.send || options.permissions.inject)) {
    (void)bad_input(fmt::format("{} and {} go with --serial", send_option, inject_option));
    return false;
  }
  for (const auto& line : emulate_cautions(real_port)) say_line("{}\n", line);
  if (!real_port) return true;
  const auto missing = missing_permissions(chain, options.permissions);
  for (const auto& line : missing) say_of_port(line);
  return missing.empty();
}

bool read_port_time_out(const PortOptions& options, std::optional<Nanos>& time_out) {
  if (options.time_out.empty()) return true;
  time_out = parse_duration(options.time_out);
  if (time_out && *time_out > 0) return true;
  (void)bad_input(fmt::format("--time-out {}: give a duration, such as 150ms", options.time_out));
  return false;
}

std::optional<OpenedPort> open_port(const PortOptions& options, const LineCoding& line, std::string& why) {
  if (!options.pty.empty()) {
    auto made = PtyPort::open(options.pty, line);
    const auto* port = std::get_if<std::unique_ptr<PtyPort>>(&made);
    const std::string place =
        port != nullptr ? fmt::format("{} ({})", options.pty, (*port)->client_path()) : std::string();
    return opened(std::move(made), place, why);
  }
  if (!options.socket.empty()) return opened(SocketPort::open(options.socket), options.socket, why);
  auto made = SerialPort::open(options.serial, line);
  if (const auto* port = std::get_if<std::unique_ptr<SerialPort>>(&made)) {
    for (const auto& finding : (*port)->findings()) say_of_port(fmt::format("{}: {}", options.serial, finding));
  }
  return opened(std::move(made), options.serial, why);
}

void say_ready(const OpenedPort& opened, const ChainDescription& chain, std::uint64_t seed, const LineCoding& line) {
  say_of_port(fmt::format("chain \"{}\", seed {}: {} nodes, simulated; {}", chain.name, seed, chain.nodes.size(),
                          name_of(line)));
  if (const PortDelay delay = opened.port->delay(); delay.median > 0) {
    say_of_port(fmt::format("the pty adds {} us (median), {} us (99 %) of its own, each way",
                            delay.median / microsecond, delay.most / microsecond));
  }
  say_of_port(fmt::format("the controller's place is at {}; Ctrl-C ends", opened.place));
}

}  // namespace hopbench
