// `hopbench emulate`: the simulated chain at a port, for a controller that is not ours.
#include <fmt/format.h>

#include <memory>
#include <optional>
#include <random>
#include <string>

#include "base/duration.h"
#include "chain/chain.h"
#include "cli/build_info.h"
#include "cli/capture_options.h"
#include "cli/commands.h"
#include "cli/emulate_again.h"
#include "cli/listeners.h"
#include "cli/mechanism_options.h"
#include "cli/port_options.h"
#include "cli/run_length.h"
#include "cli/say.h"
#include "cli/scenario_file.h"
#include "port/real_time.h"

namespace hopbench {
namespace {

struct EmulateOptions {
  std::string scenario;
  PortOptions port;
  std::string again;
  CaptureOptions capture;
  MechanismOptions mechanisms;
  std::string run_for;
  std::optional<std::uint64_t> seed;
  bool json = false;
  bool all = false;
  bool every_byte = false;
};

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
  if (!may_use_port(options.port, scenario->chain)) return exit_bad_input;

  const Protocol protocol(scenario->bus);
  std::string why;
  auto opened = open_port(options.port, protocol.line(), why);
  if (!opened) {
    say_of_port(why);
    return exit_trouble;
  }
  Listeners listeners(round_entry(scenario->chain));
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
  real_time.linger = linger_of(protocol);
  real_time.tick_every = plan.hand_over_every / 2;  // so that a tick that comes early costs no whole turn
  real_time.tick = [&](Nanos) { listeners.tick(); };
  real_time.note = say_of_port;
  real_time.ready = [&] { say_ready(*opened, scenario->chain, seed, protocol.line()); };
  const RealTimeEnd end = run_in_real_time(session, *opened->port, real_time);
  if (end.why == RealTimeEnd::Why::stuck) {
    say_of_port(fmt::format("the chain is stuck at one instant (events without end), at {}", format_duration(end.at)));
  }
  if (end.why == RealTimeEnd::Why::port_gone) say_of_port(fmt::format("{}: the port is gone", opened->place));
  chain.finish(session.lateness());
  const bool whole = listeners.capture_is_whole();
  listeners.print_summary(options.json, options.all);
  return exit_code_of(end, until != never, whole);
}

ExitCode emulate(const EmulateOptions& options) {
  const int places = options.port.places() + int{!options.again.empty()};
  if (places != 1) {
    return bad_input("emulate: give one of --pty LINK, --socket PATH, --serial DEVICE and --again CAPTURE");
  }
  if (options.port.serial.empty() && (options.port.permissions.send || options.port.permissions.inject)) {
    return bad_input(fmt::format("emulate: {} and {} go with --serial", send_option, inject_option));
  }
  const Way way = options.every_byte ? Way::every_byte : Way::events;
  if (!options.again.empty()) {
    if (!options.scenario.empty() || options.seed || !options.run_for.empty() || !options.port.time_out.empty() ||
        options.mechanisms.any()) {
      return bad_input("emulate: --again takes scenario, seed, duration and time-out from the capture; leave them out");
    }
    return emulate_again({options.again, options.capture, options.json, options.all, way});
  }
  if (options.scenario.empty()) return bad_input("emulate: give a scenario");
  Nanos until = never;
  if (!options.run_for.empty()) {
    const auto span = parse_duration(options.run_for);
    if (!span || *span <= 0) return bad_input(fmt::format("--for {}: give a duration, such as 90s", options.run_for));
    until = *span;
  }
  std::optional<Nanos> time_out;
  if (!read_port_time_out(options.port, time_out)) return exit_bad_input;
  return emulate_at_port(options, until, time_out);
}

}  // namespace

void add_emulate(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<EmulateOptions>();
  auto* command = app.add_subcommand("emulate", "Let a real controller talk to the simulated chain through a port");
  command->add_option("scenario", options->scenario, "Scenario file; its plan is not used");
  add_port_options(*command, options->port);
  command->add_option("--again", options->again, "Repeat the session in this capture in virtual time, e.g. ring.hbcap")
      ->type_name("CAPTURE");
  command->add_option("--seed", options->seed, "Use this random seed, e.g. 7 (default: the scenario's)");
  command->add_option("--for", options->run_for, "End after this time, e.g. 90s (default: at Ctrl-C)")
      ->type_name("DURATION");
  add_mechanism_options(*command, options->mechanisms);
  add_capture_options(*command, options->capture);
  command->add_flag("--json", options->json, "Print the summary as JSON");
  command->add_flag("--all", options->all, "Show a row for each hop and node (default: healthy ones share one)");
  command->add_flag("--every-byte", options->every_byte,
                    "Send every character through the simulated receivers: the same results, slower");
  command->callback([options, &exit_code] { exit_code = emulate(*options); });
}

}  // namespace hopbench
