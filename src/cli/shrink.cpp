// `hopbench shrink`: the smallest scenario that still does it.
#include <fmt/format.h>

#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <system_error>

#include "base/duration.h"
#include "cli/commands.h"
#include "cli/controller_option.h"
#include "cli/progress_line.h"
#include "cli/run_length.h"
#include "cli/say.h"
#include "cli/scenario_file.h"
#include "cli/threads_option.h"
#include "cli/watch.h"
#include "record/new_file.h"
#include "seen/reality.h"
#include "study/shrink.h"
#include "view/number_text.h"
#include "view/paragraph.h"

namespace hopbench {
namespace {

struct ShrinkOptions {
  std::string scenario;
  std::string keep;
  std::string output;
  std::optional<std::uint64_t> seed;
  std::string span;
  bool force = false;
  EditOptions edits;
  unsigned threads = 0;  // 0: as many as the machine has
  std::string controller;
  std::string hang_after;
};

/// One after the other, in lines.
void print_list(const char* head, const std::vector<std::string>& names) {
  std::string all;
  for (const std::string& name : names) all += (all.empty() ? "" : ", ") + name;
  fmt::print("{} {}:\n{}", head, names.size(), paragraph(2, "", all));
}

ExitCode shrink_scenario(const ShrinkOptions& options) {
  auto parsed = Property::parse(options.keep);
  if (const auto* error = std::get_if<PropertyError>(&parsed)) {
    return bad_input(fmt::format("--keep: column {}: {}", error->column, harmless(error->what)));
  }
  ShrinkPlan plan;
  plan.property = std::get<Property>(std::move(parsed));
  const auto asked = read_for(options.span);
  if (!asked) return exit_bad_input;
  const auto scenario = read_scenario(options.scenario, options.edits);
  if (!scenario) return exit_bad_input;
  for (const std::string& input : files_read(options.scenario, *scenario)) {
    if (!is_same_file(input, options.output)) continue;
    return bad_input(input == options.scenario ? "-o: that is the scenario itself; give another file"
                                               : "-o: that is the scenario's bus description; give another file");
  }
  std::error_code ignored;
  if (!options.force && !is_device(options.output) &&
      std::filesystem::exists(std::filesystem::symlink_status(options.output, ignored))) {
    return bad_input(fmt::format("-o: {} is there already; name another file, or replace it with --force",
                                 harmless(options.output)));
  }
  const auto controller = read_controller(options.controller, options.hang_after);
  if (!controller) return exit_bad_input;
  const auto trouble = std::make_shared<ControllerTrouble>();
  plan.in_seat = in_seat(*controller, trouble);
  plan.span = length_of_run(*asked, scenario->chain);
  plan.seed = options.seed.value_or(scenario->chain.seed);
  plan.threads = controller->at.socket.empty() ? threads_or_all(options.threads) : 1;

  const Reality reality = plan.in_seat ? Reality::simulated_chain : Reality::simulated;
  const EndSignals signals;
  ProgressLine line;
  line.show("looking whether the first run shows it");
  const Shrunk shrunk = shrink(
      *scenario, plan, [] { return EndSignals::came(); },
      [&](std::size_t units, Nanos span) {
        line.show(fmt::format("{} units left, {} long", units, format_duration(span)));
      });
  line.clear();
  if (trouble->any()) {
    // Of a run that broke off nobody knows whether it would have done it.
    say_line("hopbench: {}\n", trouble->what());
    return exit_trouble;
  }
  switch (shrunk.end) {
    case Shrunk::End::never_held:
      fmt::print("{}", paragraph(0, "",
                                 fmt::format("{}: in {} of {}, seed {}, this does not come about: {}", at_top(reality),
                                             long_span(plan.span), scenario->chain.name, plan.seed, options.keep)));
      return exit_failed;
    case Shrunk::End::cannot_name:
      return bad_input("--keep: \"on hop\": it is not one station that this hop leads into; write \"into STATION\"");
    case Shrunk::End::misfit:
      return bad_input(fmt::format("--keep: {}", harmless(shrunk.why)));
    case Shrunk::End::done:
    case Shrunk::End::stopped:
      break;
  }
  if (shrunk.text.empty()) {
    say_line("hopbench: interrupted before anything was found\n");
    return exit_incomplete;
  }
  const std::span text(reinterpret_cast<const std::uint8_t*>(shrunk.text.data()), shrunk.text.size());
  if (const int error = write_new_file(options.output, text, options.force); error != 0) {
    say_line("hopbench: {}: {}\n", harmless(options.output), file_error(error));
    return exit_trouble;
  }
  print_list("Left out", shrunk.removed);
  print_list("Kept", shrunk.kept);
  const std::string begins =
      shrunk.begins_after > 0 ? fmt::format(", begun after {}", format_duration(shrunk.begins_after)) : "";
  fmt::print("{}  {}\n",
             paragraph(0, "",
                       fmt::format("{}: {} still does it, in {}{} and {}, seed {} ({} tried):", at_top(reality),
                                   options.output, format_duration(shrunk.run_for), begins,
                                   counted(shrunk.exchanges, "exchange"), plan.seed, counted(shrunk.runs, "run"))),
             harmless(options.keep));
  if (shrunk.end == Shrunk::End::stopped) {
    say_line("hopbench: interrupted; more might be left out\n");
    return exit_incomplete;
  }
  fmt::print("None of what was kept can be left out by itself.\n");
  return exit_done;
}

}  // namespace

void add_shrink(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<ShrinkOptions>();
  auto* command =
      app.add_subcommand("shrink", "Cut a scenario down to the smallest one that still shows a stated failure");
  command->add_option("scenario", options->scenario, "Scenario file")->required();
  command->add_option("--keep", options->keep, "Keep this true, e.g. \"lost > 0 at a7\"")
      ->type_name("PROPERTY")
      ->required();
  command->add_option("-o,--output", options->output, "Write the smallest scenario to this file, e.g. small.txtpb")
      ->type_name("FILE")
      ->required();
  command->add_flag("--force", options->force, "Replace the file of -o if it is there (default: refuse)");
  command->add_option("--seed", options->seed, "Use this random seed, e.g. 7 (default: the scenario's)");
  command
      ->add_option("--for", options->span,
                   "Make the first run this long, e.g. 2h (default: run_for of the scenario, or 1h)")
      ->type_name("DURATION");
  add_edit_options(*command, options->edits);
  add_controller_option(*command, options->controller, options->hang_after);
  add_threads_option(*command, options->threads);
  command->callback([options, &exit_code] { exit_code = shrink_scenario(*options); });
}

}  // namespace hopbench
