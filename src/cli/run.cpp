// `hopbench run`: a scenario in virtual time.
#include <fmt/format.h>

#include <chrono>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "base/duration.h"
#include "chain/chain.h"
#include "cli/build_info.h"
#include "cli/capture_options.h"
#include "cli/commands.h"
#include "cli/controller_option.h"
#include "cli/listeners.h"
#include "cli/mechanism_options.h"
#include "cli/run_length.h"
#include "cli/say.h"
#include "cli/scenario_file.h"
#include "cli/watch.h"
#include "port/granted_run.h"

namespace hopbench {
namespace {

struct RunOptions {
  std::string scenario;
  std::optional<std::uint64_t> seed;
  std::string span;
  std::optional<std::uint64_t> exchanges;
  CaptureOptions capture;
  EditOptions edits;
  MechanismOptions mechanisms;
  bool json = false;
  bool all = false;
  bool every_byte = false;
  std::string controller;
  std::string hang_after;
};

enum class Finish { done, interrupted, stuck, nothing_more };

/// In slices that take about a hundredth of a second each, so that Ctrl-C is heard. Slices leave no trace in the
/// records.
Finish run_until(Chain& chain, Nanos until, Watch& watch, Listeners& listeners) {
  using Clock = std::chrono::steady_clock;
  const Nanos start = chain.now();
  Nanos slice = second;
  while (chain.now() < until) {
    if (EndSignals::came()) return Finish::interrupted;
    const auto before = Clock::now();
    if (!chain.run_until(until - chain.now() > slice ? chain.now() + slice : until)) return Finish::stuck;
    const auto took = Clock::now() - before;
    if (took < std::chrono::milliseconds(10) && slice < until) slice *= 2;
    if (took > std::chrono::milliseconds(50) && slice > millisecond) slice /= 2;
    watch.at(chain.now() - start);
    listeners.tick();
  }
  return Finish::done;
}

/// In one go: asking is held up at the number that run_exchanges() is given, so that more than one call would show in
/// the records.
Finish run_exchanges(Chain& chain, std::uint64_t exchanges) {
  try {
    if (chain.run_exchanges(exchanges)) return Finish::done;
    return chain.next_at() == never ? Finish::nothing_more : Finish::stuck;
  } catch (const Interrupted&) {
    return Finish::interrupted;
  }
}

std::string about(const RunOptions& options, const GrantedEnd& end) {
  switch (end.why) {
    case GrantedEnd::Why::time:
      return {};
    case GrantedEnd::Why::stopped:
      return "interrupted; the summary tells of the run up to there";
    case GrantedEnd::Why::stuck:
      return options.scenario + ": the chain is stuck at one instant (events without end); the run ended there";
    case GrantedEnd::Why::left:
    case GrantedEnd::Why::controller:
      return end.what + "; the summary tells of the run up to there";
    case GrantedEnd::Why::no_controller:
      return end.what;
  }
  return {};
}

ExitCode exit_code_of(const GrantedEnd& end, bool whole) {
  switch (end.why) {
    case GrantedEnd::Why::time:
      return whole ? exit_done : exit_incomplete;
    case GrantedEnd::Why::stopped:
    case GrantedEnd::Why::left:
      return exit_incomplete;
    case GrantedEnd::Why::stuck:
      return exit_bad_input;
    case GrantedEnd::Why::controller:
    case GrantedEnd::Why::no_controller:
      return exit_trouble;
  }
  return exit_trouble;
}

/// With a program in the controller's seat.
ExitCode run_with_controller(const RunOptions& options, const Scenario& scenario, std::uint64_t seed, Nanos span,
                             const ControllerOption& controller, Listeners& listeners) {
  const EndSignals signals;
  GrantedEnd end;
  {
    Watch watch(span, 0, false);
    FanOut all{&listeners.sink(), &watch};
    GrantedOptions granted;
    granted.span = span;
    granted.hang_after = controller.hang_after;
    granted.stop = [] { return EndSignals::came(); };
    granted.tick = [&](Nanos now) {
      watch.at(now - scenario.chain.start.at);
      listeners.tick();
    };
    granted.note = [](const std::string& line) { say_line("hopbench: {}\n", line); };
    end = run_granted(Protocol(scenario.bus), scenario.chain, seed, options.every_byte ? Way::every_byte : Way::events,
                      controller.at, granted, all);
  }
  const std::string why = about(options, end);
  if (!why.empty()) say_line("hopbench: {}\n", why);
  if (end.why == GrantedEnd::Why::no_controller) return exit_trouble;
  const bool whole = listeners.capture_is_whole();
  listeners.print_summary(options.json, options.all);
  return exit_code_of(end, whole);
}

ExitCode run(const RunOptions& options) {
  const auto asked = read_for(options.span);
  if (!asked) return exit_bad_input;
  if (options.exchanges == std::uint64_t{0}) return bad_input("--exchanges must be at least 1");
  WritePlan plan = unhurried_plan(monotonic_now);
  if (!apply(options.capture, plan)) return exit_bad_input;
  auto scenario = read_scenario(options.scenario, options.edits);
  if (!scenario) return exit_bad_input;
  if (!apply(options.mechanisms, *scenario)) return exit_bad_input;
  const Nanos span = length_of_run(*asked, scenario->chain);
  const std::uint64_t seed = options.seed.value_or(scenario->chain.seed);

  const auto controller = read_controller(options.controller, options.hang_after);
  if (!controller) return exit_bad_input;

  Listeners listeners(round_entry(scenario->chain));
  // Of two programs the runs are two.
  const auto run_id = run_id_of(scenario->scenario_text + options.controller, scenario->bus_text, seed);
  if (!listeners.record_to(options.capture, {run_id, scenario->scenario_text, scenario->bus_text, this_build(0)},
                           plan)) {
    return exit_trouble;
  }
  if (!options.controller.empty()) {
    return run_with_controller(options, *scenario, seed, span, *controller, listeners);
  }
  const bool counted = options.exchanges.has_value();
  const EndSignals signals;
  Finish finish = Finish::done;
  {
    Watch watch(counted ? 0 : span, options.exchanges.value_or(0), counted);
    FanOut all{&listeners.sink(), &watch};
    const Protocol protocol(scenario->bus);
    Chain chain(protocol, scenario->chain, seed, options.every_byte ? Way::every_byte : Way::repeats, Seat::simulated,
                all);
    finish =
        counted ? run_exchanges(chain, *options.exchanges) : run_until(chain, chain.now() + span, watch, listeners);
    if (counted && finish == Finish::interrupted) {
      // The chain was left in the middle of something: what was open in it stays untold.
      all.end(chain.now(), {});
    } else {
      chain.finish({});
    }
  }
  listeners.print_summary(options.json, options.all);
  const bool whole = listeners.capture_is_whole();
  switch (finish) {
    case Finish::stuck:
      say_line("hopbench: {}: the chain is stuck at one instant (events without end); the run ended there\n",
               options.scenario);
      return exit_bad_input;
    case Finish::interrupted:
      say_line("hopbench: interrupted; the summary tells of the run up to there\n");
      return exit_incomplete;
    case Finish::nothing_more:
      say_line("hopbench: {}: the plan had nothing more to ask\n", options.scenario);
      return exit_incomplete;
    case Finish::done:
      break;
  }
  return whole ? exit_done : exit_incomplete;
}

}  // namespace

void add_run(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<RunOptions>();
  auto* command = app.add_subcommand("run", "Run a scenario in virtual time and show on which hops replies go missing");
  command->add_option("scenario", options->scenario, "Scenario file")->required();
  command->add_option("--seed", options->seed, "Use this random seed, e.g. 7 (default: the scenario's)");
  auto* span =
      command
          ->add_option("--for", options->span, "Run for this long, e.g. 80d (default: run_for of the scenario, or 1h)")
          ->type_name("DURATION");
  auto* exchanges =
      command->add_option("--exchanges", options->exchanges, "Run until N exchanges are closed, e.g. 1000");
  exchanges->excludes(span);
  add_edit_options(*command, options->edits);
  add_mechanism_options(*command, options->mechanisms);
  add_capture_options(*command, options->capture);
  add_controller_option(*command, options->controller, options->hang_after)->excludes(exchanges);
  command->add_flag("--json", options->json, "Print the summary as JSON");
  command->add_flag("--all", options->all, "Show a row for each hop and node (default: healthy ones share one)");
  command->add_flag("--every-byte", options->every_byte,
                    "Send every character through the simulated receivers: the same results, slower");
  command->callback([options, &exit_code] { exit_code = run(*options); });
}

}  // namespace hopbench
