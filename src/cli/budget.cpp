// `hopbench budget`: what a scenario can be expected to do, in closed form.
#include <fmt/format.h>

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "base/duration.h"
#include "base/plain_text.h"
#include "budget/budget.h"
#include "cli/commands.h"
#include "cli/scenario_file.h"
#include "text/suggest.h"
#include "text/values.h"
#include "view/budget_report.h"

namespace hopbench {
namespace {

struct BudgetOptions {
  std::string scenario;
  EditOptions edits;
  std::string cycle;
  std::string bit_error;
  std::string exchange;
  bool json = false;
};

bool read_wish(const BudgetOptions& options, BudgetWish& wish) {
  std::string why;
  if (!options.cycle.empty()) {
    wish.cycle = parse_duration(options.cycle, &why);
    if (!wish.cycle || *wish.cycle == 0) {
      (void)bad_input("budget: --cycle: " + (why.empty() ? "a round takes longer than that" : why));
      return false;
    }
  }
  if (options.bit_error.empty()) return true;
  const auto rate = parse_probability(options.bit_error, why);
  if (!rate || *rate == 0 || *rate > certain / 2) {
    (void)bad_input("budget: --bit-error: " + (rate ? "write more than 0 and at most 0.5, for example 1e-6" : why));
    return false;
  }
  wish.bit_error = static_cast<double>(*rate) / static_cast<double>(certain);
  return true;
}

/// Place of the exchange that is to be shown; none and a line on stderr if there is none of that name.
bool find_exchange(const std::string& name, const Budget& budget, std::optional<std::size_t>& shown) {
  if (name.empty()) return true;
  std::vector<std::string> names;
  for (std::size_t i = 0; i < budget.entries.size(); ++i) {
    if (budget.entries[i].entry.name == name) shown = i;
    if (!budget.entries[i].hops.empty()) names.push_back(budget.entries[i].entry.name);
  }
  if (shown && !budget.entries[*shown].hops.empty()) return true;
  if (shown) {
    (void)bad_input("budget: --exchange: nobody answers " + harmless(name) + ", so there is nothing to show");
  } else {
    (void)bad_input("budget: --exchange: there is no exchange \"" + harmless(name) + "\"" + suggestion(name, names));
  }
  return false;
}

int run_budget(const BudgetOptions& options) {
  BudgetWish wish;
  if (!read_wish(options, wish)) return exit_bad_input;
  const auto scenario = read_scenario(options.scenario, options.edits);
  if (!scenario) return exit_bad_input;
  const Protocol protocol(scenario->bus);
  const Budget budget = budget_of(protocol, scenario->chain, wish);
  BudgetReport report{budget, scenario->bus, scenario->chain, wish, std::nullopt};
  if (!find_exchange(options.exchange, budget, report.shown)) return exit_bad_input;
  fmt::print("{}", options.json ? budget_json(report) : budget_text(report));
  return budget.works() ? exit_done : exit_failed;
}

}  // namespace

void add_budget(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<BudgetOptions>();
  auto* command =
      app.add_subcommand("budget", "Work out times, margins, buffers, clocks and checks of a scenario, without a run");
  command->add_option("scenario", options->scenario, "Scenario file")->required();
  command
      ->add_option("--cycle", options->cycle,
                   "Find the largest chain of each kind whose round takes no longer, e.g. 2s")
      ->type_name("DURATION");
  command
      ->add_option("--bit-error", options->bit_error,
                   "Take this share of the bits on each hop as wrong, e.g. 1e-6 (default: as the hops state it)")
      ->type_name("SHARE");
  command
      ->add_option("--exchange", options->exchange,
                   "Show this exchange hop by hop, e.g. cells/n3 (default: the one with the least margin)")
      ->type_name("NAME");
  (void)add_edit_options(*command, options->edits);
  command->add_flag("--json", options->json, "Print the results as JSON");
  command->callback([options, &exit_code] { exit_code = run_budget(*options); });
}

}  // namespace hopbench
