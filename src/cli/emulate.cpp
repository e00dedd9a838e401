// `hopbench emulate`: the simulated chain at a port, for a controller that is not ours.
#include <fmt/format.h>
#include <unistd.h>

#include <cstdio>
#include <memory>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include "base/duration.h"
#include "chain/chain.h"
#include "cli/build_info.h"
#include "cli/capture_options.h"
#include "cli/cautions.h"
#include "cli/commands.h"
#include "cli/emulate_again.h"
#include "cli/listeners.h"
#include "cli/mechanism_options.h"
#include "cli/say.h"
#include "cli/scenario_file.h"
#include "port/pty.h"
#include "port/real_time.h"
#include "port/serial.h"
#include "port/unix_socket.h"

namespace hopbench {
namespace {

struct EmulateOptions {
  std::string scenario;
  std::string pty;
  std::string socket;
  std::string serial;
  std::string again;
  CaptureOptions capture;
  MechanismOptions mechanisms;
  std::string run_for;
  std::string time_out;
  std::optional<std::uint64_t> seed;
  bool json = false;
  bool every_byte = false;
  Permissions permissions;
};

/// A terminal that has gone away is no reason to end without a summary.
void say(const std::string& what) {
  const std::string line = fmt::format("hopbench: {}\n", harmless(what));
  (void)std::fwrite(line.data(), 1, line.size(), stderr);
}

std::string name_of(const LineCoding& line) {
  const char parity = line.parity == Parity::none ? 'N' : line.parity == Parity::even ? 'E' : 'O';
  return fmt::format("{} Bd {}{}{}", line.baud, line.data_bits, parity, line.stop_half_bits / 2.0);
}

/// A port, and where the controller finds it.
struct Opened {
  std::unique_ptr<BytePort> port;
  std::string place;
};

/// Says on stderr why not, if there is none.
std::optional<Opened> open_port(const EmulateOptions& options, const LineCoding& line) {
  if (!options.pty.empty()) {
    auto made = PtyPort::open(options.pty, line);
    if (auto* port = std::get_if<std::unique_ptr<PtyPort>>(&made)) {
      const std::string place = fmt::format("{} ({})", options.pty, (*port)->client_path());
      return Opened{std::move(*port), place};
    }
    say(std::get<PortError>(made).what);
    return std::nullopt;
  }
  if (!options.socket.empty()) {
    auto made = SocketPort::open(options.socket);
    if (auto* port = std::get_if<std::unique_ptr<SocketPort>>(&made)) return Opened{std::move(*port), options.socket};
    say(std::get<PortError>(made).what);
    return std::nullopt;
  }
  auto made = SerialPort::open(options.serial, line);
  if (auto* port = std::get_if<std::unique_ptr<SerialPort>>(&made)) {
    for (const auto& finding : (*port)->findings()) say(fmt::format("{}: {}", options.serial, finding));
    return Opened{std::move(*port), options.serial};
  }
  say(std::get<PortError>(made).what);
  return std::nullopt;
}

std::uint64_t random_run_id() {
  std::random_device device;
  return (std::uint64_t{device()} << 32U) | device();
}

ExitCode exit_code_of(const RealTimeEnd& end, bool had_until, bool capture_is_whole) {
  if (end.why == RealTimeEnd::Why::stuck) return exit_bad_input;
  if (end.why == RealTimeEnd::Why::port_gone) return exit_trouble;
  // Without a time to end at, a signal is the way to end.
  const bool cut_short = had_until && end.why == RealTimeEnd::Why::signal;
  return cut_short || !capture_is_whole ? exit_incomplete : exit_done;
}

ExitCode emulate_at_port(const EmulateOptions& options, Nanos until, std::optional<Nanos> time_out) {
  WritePlan plan = real_time_plan(monotonic_now);
  if (!apply(options.capture, plan)) return exit_bad_input;
  auto scenario = read_scenario(options.scenario);
  if (!scenario) return exit_bad_input;
  if (!apply(options.mechanisms, *scenario)) return exit_bad_input;
  const bool real_port = !options.serial.empty();
  for (const auto& line : emulate_cautions(real_port)) say_line("{}\n", line);
  if (real_port) {
    const auto missing = missing_permissions(scenario->chain, options.permissions);
    for (const auto& line : missing) say(line);
    if (!missing.empty()) return exit_bad_input;
  }

  const Protocol protocol(scenario->bus);
  auto opened = open_port(options, protocol.line());
  if (!opened) return exit_trouble;
  Listeners listeners;
  if (!listeners.record_to(options.capture,
                           {random_run_id(), scenario->scenario_text, scenario->bus_text, this_build(wall_clock_now())},
                           plan)) {
    return exit_trouble;
  }
  const std::uint64_t seed = options.seed.value_or(scenario->chain.seed);
  Chain chain(protocol, scenario->chain, seed, options.every_byte ? Way::every_byte : Way::events, Seat{true, time_out},
              listeners.sink());
  DrivenChain driven(chain);
  Session session(driven, *opened->port, protocol.line());

  RealTimeOptions real_time;
  real_time.from = chain.now();
  real_time.until = until == never ? never : chain.now() + until;
  // Where a pause ends a frame, the answer handed over last is only known to be whole after the pause.
  const Period bit = period_of_baud(protocol.line().baud);
  real_time.linger = protocol.end_silence(bit) + span_of_bits(protocol.line().char_half_bits(), bit);
  real_time.tick_every = plan.hand_over_every / 2;  // so that a tick that comes early costs no whole turn
  real_time.tick = [&](Nanos) { listeners.tick(); };
  real_time.note = say;
  real_time.ready = [&] {
    say(fmt::format("chain \"{}\", seed {}: {} nodes, simulated; {}", scenario->chain.name, seed,
                    scenario->chain.nodes.size(), name_of(protocol.line())));
    if (const PortDelay delay = opened->port->delay(); delay.median > 0) {
      say(fmt::format("the pty adds {} us (median), {} us (99 %) of its own, each way", delay.median / microsecond,
                      delay.most / microsecond));
    }
    say(fmt::format("the controller's place is at {}; Ctrl-C ends", opened->place));
  };
  const RealTimeEnd end = run_in_real_time(session, *opened->port, real_time);
  if (end.why == RealTimeEnd::Why::stuck) {
    say(fmt::format("the chain is stuck at one instant (events without end), at {}", format_duration(end.at)));
  }
  if (end.why == RealTimeEnd::Why::port_gone) say(fmt::format("{}: the port is gone", opened->place));
  chain.finish(session.lateness());
  const bool whole = listeners.capture_is_whole();
  listeners.print_summary(options.json);
  return exit_code_of(end, until != never, whole);
}

ExitCode emulate(const EmulateOptions& options) {
  const int places = int{!options.pty.empty()} + int{!options.socket.empty()} + int{!options.serial.empty()} +
                     int{!options.again.empty()};
  if (places != 1) {
    return bad_input("emulate: give one of --pty LINK, --socket PATH, --serial DEVICE and --again CAPTURE");
  }
  if (options.serial.empty() && (options.permissions.send || options.permissions.inject)) {
    return bad_input(fmt::format("emulate: {} and {} go with --serial", send_option, inject_option));
  }
  const Way way = options.every_byte ? Way::every_byte : Way::events;
  if (!options.again.empty()) {
    if (!options.scenario.empty() || options.seed || !options.run_for.empty() || !options.time_out.empty() ||
        options.mechanisms.any()) {
      return bad_input("emulate: --again takes scenario, seed, duration and time-out from the capture; leave them out");
    }
    return emulate_again({options.again, options.capture, options.json, way});
  }
  if (options.scenario.empty()) return bad_input("emulate: give a scenario");
  Nanos until = never;
  if (!options.run_for.empty()) {
    const auto span = parse_duration(options.run_for);
    if (!span || *span <= 0) return bad_input(fmt::format("--for {}: give a duration, such as 90s", options.run_for));
    until = *span;
  }
  std::optional<Nanos> time_out;
  if (!options.time_out.empty()) {
    time_out = parse_duration(options.time_out);
    if (!time_out || *time_out <= 0) {
      return bad_input(fmt::format("--time-out {}: give a duration, such as 150ms", options.time_out));
    }
  }
  return emulate_at_port(options, until, time_out);
}

}  // namespace

void add_emulate(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<EmulateOptions>();
  auto* command = app.add_subcommand("emulate", "Put the simulated chain at a port, for a real controller to ask");
  command->add_option("scenario", options->scenario, "Scenario file; its plan is not used, the controller is yours");
  command->add_option("--pty", options->pty, "Make a pseudo-terminal, and this link to it for the controller to open")
      ->type_name("LINK");
  command->add_option("--socket", options->socket, "Make a Unix socket here for the controller to connect to")
      ->type_name("PATH");
  command->add_option("--serial", options->serial, "Use this serial port; read docs/safety.md first")
      ->type_name("DEVICE");
  command->add_option("--again", options->again, "Run the session in this capture again, in virtual time")
      ->type_name("CAPTURE");
  command->add_option("--seed", options->seed, "Seed instead of the scenario's");
  command->add_option("--for", options->run_for, "End after this time, e.g. 90s; without it: at Ctrl-C")
      ->type_name("DURATION");
  command
      ->add_option(
          "--time-out", options->time_out,
          "How long your controller waits for an answer, from the end of its ask (default: not known), e.g. 150ms")
      ->type_name("DURATION");
  add_mechanism_options(*command, options->mechanisms);
  add_capture_options(*command, options->capture);
  command->add_flag("--json", options->json, "Print the summary as JSON");
  command->add_flag("--every-byte", options->every_byte, "Send every character through the simulated receivers");
  command->add_flag(send_option, options->permissions.send, "With --serial: the chain may send on this real port");
  command->add_flag(inject_option, options->permissions.inject, inject_help);
  command->callback([options, &exit_code] { exit_code = emulate(*options); });
}

}  // namespace hopbench
