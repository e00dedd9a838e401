// `hopbench explain SCENARIO --what-if`: which mechanism the failures of a scenario need.
#include "cli/what_if.h"
#include "cli/commands.h"
#include "cli/controller_option.h"
#include "cli/progress_steps.h"
#include "cli/run_length.h"
#include "cli/say.h"
#include "cli/scenario_file.h"
#include "cli/threads_option.h"
#include "cli/watch.h"

#include <fmt/format.h>

#include "scenario/without.h"
#include "study/what_if.h"
#include "view/number_text.h"
#include "view/what_if_report.h"

namespace hopbench {

int what_if_command(const WhatIfOptions& options) {
  WhatIfPlan plan;
  const auto asked = read_for(options.span);
  if (!asked) return exit_bad_input;
  if (options.exchanges == std::uint64_t{0}) return bad_input("--exchanges must be at least 1");
  const auto scenario = read_scenario(options.scenario, options.edits);
  if (!scenario) return exit_bad_input;
  if (options.exchanges) {
    plan.bound = {0, *options.exchanges};
  } else {
    plan.bound.span = length_of_run(*asked, scenario->chain);
  }
  const auto controller = read_controller(options.controller, options.hang_after);
  if (!controller) return exit_bad_input;
  const auto trouble = std::make_shared<ControllerTrouble>();
  plan.in_seat = in_seat(*controller, trouble);
  plan.seed = options.seed.value_or(scenario->chain.seed);
  plan.threads = controller->at.socket.empty() ? threads_or_all(options.threads) : 1;
  plan.shares = options.shares;
  const std::size_t count = mechanisms_of(scenario->chain).size();
  if (options.shares && count > most_for_shares) {
    return bad_input(
        fmt::format("--shares: the scenario has {} mechanisms; shares take a run for each set of them, "
                    "and {} are the most",
                    count, most_for_shares));
  }

  const EndSignals signals;
  const Protocol protocol(scenario->bus);
  StepProgress progress("runs");
  const WhatIf found = what_if(
      protocol, scenario->chain, plan, [] { return EndSignals::came(); },
      [&](std::size_t done, std::size_t runs) { progress.at(done, runs); });
  progress.clear();
  switch (found.end) {
    case RunEnd::stopped:
      say_line("hopbench: interrupted; nothing can be said of half the runs\n");
      return exit_incomplete;
    case RunEnd::stuck:
      return bad_input(fmt::format("{}: the chain is stuck at one instant (events without end)", options.scenario));
    case RunEnd::nothing_more:
      say_line("hopbench: {}: the plan had nothing more to ask\n", options.scenario);
      return exit_incomplete;
    case RunEnd::too_many_failures:
      say_line("hopbench: more than {} failures in one run; give a shorter --for\n", grouped(most_failures_kept));
      return exit_incomplete;
    case RunEnd::controller:
      say_line("hopbench: {}\n", trouble->any() ? trouble->what() : "the controller did not go on to the end");
      return exit_trouble;
    case RunEnd::done:
      break;
  }
  const std::string& name = scenario->chain.name;
  fmt::print("{}", options.json ? what_if_json(name, plan.seed, found) : what_if_text(name, plan.seed, found));
  return exit_done;
}

}  // namespace hopbench
