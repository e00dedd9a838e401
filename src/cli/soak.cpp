// `hopbench soak`: a test of weeks, with a verdict at its end.
#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <utility>

#include "base/duration.h"
#include "base/plain_text.h"
#include "chain/chain.h"
#include "cli/commands.h"
#include "cli/controller_option.h"
#include "cli/run_length.h"
#include "cli/say.h"
#include "cli/scenario_file.h"
#include "cli/soak_directory.h"
#include "cli/soak_runner.h"
#include "cli/watch.h"
#include "port/text_server.h"
#include "record/byte_size.h"
#include "soak/plan.h"
#include "soak/soak.h"
#include "view/soak_report.h"

namespace hopbench {
namespace {

struct SoakOptions {
  std::string scenario;
  std::string resume;
  std::string dir;
  std::string span;
  std::optional<std::uint64_t> seed;
  std::string save_every = "30s";
  std::string at_most = "1GB";
  bool save_every_given = false;
  bool at_most_given = false;
  std::string metrics_file;
  std::string metrics;
  std::string controller;
  std::string hang_after;
  PortOptions port;
  EditOptions edits;
  bool full = false;
  bool plan = false;
  bool json = false;
};

ExitCode plan(const SoakJob& job, bool json) {
  const Nanos length = std::min(job.until - job.start, 86'400 * second);
  Soak rehearsal(job.scenario.requirements, job.start, job.start + length, cycle_of(job.scenario.chain));
  const Protocol protocol(job.scenario.bus);
  Chain chain(protocol, job.scenario.chain, job.scenario.chain.seed, Way::repeats, Seat::simulated, rehearsal.sink());
  const EndSignals signals;
  for (Nanos at = job.start; at < job.start + length;) {
    if (EndSignals::came()) return exit_incomplete;
    at = std::min(at + 600 * second, job.start + length);
    if (!chain.run_until(at)) return bad_input("the chain is stuck at one instant (events without end)");
  }
  chain.finish({});
  const auto made = plan_of(rehearsal, length, cycle_of(job.scenario.chain));
  const std::string& name = job.scenario.chain.name;
  fmt::print("{}",
             json ? soak_plan_json(name, made, job.at_port.any()) : soak_plan_text(name, made, job.at_port.any()));
  return exit_done;
}

/// The scenario with the seed and the length that it is run with, so that its text alone says all.
std::optional<Scenario> as_run(Scenario scenario, std::uint64_t seed, Nanos span, const std::string& path) {
  EditOptions edits;
  edits.set = {fmt::format("seed={}", seed), fmt::format("run_for={}", format_duration(span))};
  return apply(edits, std::move(scenario), path);
}

bool read_options(const SoakOptions& options, Nanos& save_every, std::uint64_t& most) {
  const auto every = parse_duration(options.save_every);
  if (!every || *every <= 0 || *every > 60 * second) {
    (void)bad_input(fmt::format("--save-every {}: give a duration of at most 1min, such as 30s", options.save_every));
    return false;
  }
  save_every = *every;
  const auto size = parse_byte_size(options.at_most);
  if (!size || *size < 1'000'000) {
    (void)bad_input(fmt::format("--at-most {}: give a size of at least 1MB, such as 1GB", options.at_most));
    return false;
  }
  most = *size;
  std::string address;
  std::uint16_t port = 0;
  if (!options.metrics.empty() && !parse_endpoint(options.metrics, address, port)) {
    (void)bad_input(
        fmt::format("--metrics {}: give an address and a port, such as 127.0.0.1:9300", harmless(options.metrics)));
    return false;
  }
  return true;
}

SoakLook look_of(const SoakOptions& options, Nanos save_every) {
  return {options.metrics_file, options.metrics, save_every, options.json};
}

ExitCode resume(const SoakOptions& options, Nanos save_every) {
  auto directory = SoakDirectory::open(options.resume);
  if (!directory) return exit_trouble;
  auto scenario = directory->scenario();
  if (!scenario) return exit_bad_input;
  std::string why;
  const auto state = directory->state(why);
  if (state.empty()) {
    say_line("hopbench: {}/state: {}; nothing was saved there: begin again with --dir and another folder\n",
             options.resume, why.empty() ? "is empty" : why);
    return exit_trouble;
  }
  SoakJob job(*std::move(scenario), 0);
  job.at_port.port.permissions = options.port.permissions;
  return run_soak(std::move(job), look_of(options, save_every), std::move(directory), state);
}

ExitCode soak(const SoakOptions& options) {
  Nanos save_every = 0;
  std::uint64_t most = 0;
  if (!read_options(options, save_every, most)) return exit_bad_input;
  if (!options.resume.empty()) return resume(options, save_every);
  if (options.dir.empty() && (options.save_every_given || options.at_most_given)) {
    return bad_input("--save-every and --at-most go with --dir: without it nothing is kept");
  }
  if (options.scenario.empty()) return bad_input("name a scenario, or a soak to go on with: --resume DIR");
  const auto asked = read_for(options.span);
  if (!asked) return exit_bad_input;
  auto scenario = read_scenario(options.scenario, options.edits);
  if (!scenario) return exit_bad_input;
  if (scenario->requirements.empty()) {
    return bad_input(options.scenario +
                     ": says nothing of what is required; add for example: requirement { that: \"failed <= 0.01%\" "
                     "acceptable: \"0.001%\" }");
  }
  if (!read_controller(options.controller, options.hang_after)) return exit_bad_input;
  if (options.port.places() + int{!options.controller.empty()} > 1)
    return bad_input("soak: give one of --controller, --pty, --socket and --serial");
  std::optional<Nanos> time_out;
  if (!read_port_time_out(options.port, time_out)) return exit_bad_input;
  if (time_out && options.port.places() == 0)
    return bad_input("soak: --time-out goes with --pty, --socket and --serial");
  if (options.port.serial.empty() && (options.port.permissions.send || options.port.permissions.inject))
    return bad_input(fmt::format("soak: {} and {} go with --serial", send_option, inject_option));
  const std::uint64_t seed = options.seed.value_or(scenario->chain.seed);
  const Nanos span = length_of_run(*asked, scenario->chain);
  auto whole = as_run(*std::move(scenario), seed, span, options.scenario);
  if (!whole) return exit_bad_input;
  SoakJob job(*std::move(whole), most);
  job.full = options.full;
  job.controller = options.controller;
  job.hang_after = options.hang_after;
  job.at_port.port = options.port;
  // A resumed soak may be in another folder.
  for (std::string* path : {&job.at_port.port.pty, &job.at_port.port.socket, &job.at_port.port.serial}) {
    std::error_code error;
    if (!path->empty()) *path = std::filesystem::absolute(*path, error).string();
  }
  if (options.plan) return plan(job, options.json);
  auto directory = options.dir.empty() ? std::nullopt : SoakDirectory::make(options.dir, job.scenario);
  if (!directory && !options.dir.empty()) return exit_trouble;
  return run_soak(std::move(job), look_of(options, save_every), std::move(directory), {});
}

}  // namespace

void add_soak(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<SoakOptions>();
  auto* command = app.add_subcommand("soak", "Test a chain for weeks against what its scenario requires");
  auto* scenario = command->add_option("scenario", options->scenario, "Scenario file with a requirement");
  auto* span = command
                   ->add_option("--for", options->span,
                                "Test for at most this long, e.g. 80d (default: run_for of the scenario, or 1h)")
                   ->type_name("DURATION");
  auto* full = command->add_flag("--full", options->full,
                                 "Run to the end, also when all is decided before (default: stop then)");
  auto* seed = command->add_option("--seed", options->seed, "Random seed, e.g. 7 (default: the scenario's)");
  const auto edits = add_edit_options(*command, options->edits);
  auto* controller = add_controller_option(*command, options->controller, options->hang_after);
  const auto port = add_port_options(*command, options->port);
  auto* dir = command
                  ->add_option("--dir", options->dir,
                               "Keep the soak in this new folder: its state, captures of failures, the verdict")
                  ->type_name("DIR");
  auto* resume =
      command->add_option("--resume", options->resume, "Go on with the soak in this folder")->type_name("DIR");
  auto* save_every = command
                         ->add_option("--save-every", options->save_every,
                                      "Save the state this often, by the computer's clock, e.g. 10s")
                         ->type_name("DURATION")
                         ->capture_default_str();
  auto* at_most =
      command
          ->add_option("--at-most", options->at_most, "Keep captures of failures within this size; the oldest go first")
          ->type_name("SIZE")
          ->capture_default_str();
  command
      ->add_option("--metrics-file", options->metrics_file, "Write figures to this file every 2 s, as Prometheus text")
      ->type_name("FILE");
  command
      ->add_option("--metrics", options->metrics, "Answer collectors of figures over HTTP there, e.g. 127.0.0.1:9300")
      ->type_name("ADDRESS:PORT");
  auto* plan =
      command->add_flag("--plan", options->plan, "Print how long a test takes for which statement, and test nothing");
  command->add_flag("--json", options->json, "Print the verdict as JSON");
  // What a soak was begun with it keeps.
  for (auto* each : {scenario, span, full, seed, edits[0], edits[1], controller, dir, at_most, plan})
    resume->excludes(each);
  // Permissions are given each time.
  for (std::size_t i = 0; i + 2 < port.size(); ++i) resume->excludes(port[i]);
  plan->excludes(dir)->excludes(controller);
  command->callback([options, save_every, at_most, &exit_code] {
    options->save_every_given = save_every->count() > 0;
    options->at_most_given = at_most->count() > 0;
    exit_code = soak(*options);
  });
}

}  // namespace hopbench
