// `hopbench sweep`: a scenario over a grid of values and seeds.
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cstdio>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "cli/commands.h"
#include "cli/controller_option.h"
#include "cli/progress_steps.h"
#include "cli/run_length.h"
#include "cli/say.h"
#include "cli/scenario_file.h"
#include "cli/shard_option.h"
#include "cli/sweep_merge.h"
#include "cli/threads_option.h"
#include "cli/watch.h"
#include "record/new_file.h"
#include "study/sweep_folder.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

struct SweepOptions {
  std::string scenario;
  std::vector<std::string> vary;
  std::uint64_t seeds = 1;
  std::optional<std::uint64_t> first_seed;
  std::string span;
  std::string shard;
  std::string out;
  EditOptions edits;
  unsigned threads = 0;  // 0: as many as the machine has
  std::string controller;
  std::string hang_after;
  std::vector<std::string> merge;
  bool json = false;
  bool csv = false;
};

/// Where runs are kept until they are joined: a folder if one is named, else memory. Jobs put runs in from any thread.
class SweepStore {
 public:
  SweepStore(const std::optional<ResultFolder>& folder, std::size_t runs) : folder_(folder), in_memory_(runs) {}

  std::optional<SweepRun> get(std::size_t run) const {
    if (!folder_) return in_memory_[run].empty() ? std::nullopt : SweepRun::parse(in_memory_[run]);
    bool damaged = false;
    const auto bytes = folder_->get(run, damaged);
    auto result = bytes ? SweepRun::parse(*bytes) : std::nullopt;
    if (damaged || (bytes && !result)) say_line("hopbench: {}: is damaged; made anew\n", folder_->file_of(run));
    return result;
  }
  void put(std::size_t run, std::vector<std::uint8_t> bytes) {
    if (!folder_) {
      in_memory_[run] = std::move(bytes);
    } else if (const int error = folder_->put(run, bytes); error != 0) {
      error_ = error;
    }
  }
  /// An errno: a run could not be kept.
  [[nodiscard]] int error() const { return error_; }

 private:
  const std::optional<ResultFolder>& folder_;
  std::vector<std::vector<std::uint8_t>> in_memory_;
  std::atomic<int> error_ = 0;
};

std::optional<SweepPlan> plan_of(const SweepOptions& options, const Scenario& scenario, Nanos asked) {
  SweepPlan plan;
  plan.scenario = scenario.chain.name;
  for (const std::string& text : options.vary) {
    auto vary = parse_vary(text);
    if (const auto* problem = std::get_if<EditProblem>(&vary)) {
      (void)bad_input("--vary: " + render(*problem));
      return std::nullopt;
    }
    plan.varied.push_back(std::get<Vary>(std::move(vary)));
  }
  plan.first_seed = options.first_seed.value_or(scenario.chain.seed);
  plan.seeds = options.seeds;
  plan.span = asked;
  plan.otherwise = length_of_run(0, ChainDescription{});
  if (const auto fault = plan.fault()) {
    (void)bad_input(*fault);
    return std::nullopt;
  }
  return plan;
}

struct Opened {
  std::optional<ResultFolder> folder;
  ExitCode code = exit_done;
};

Opened opened_folder(const SweepOptions& options, const SweepPlan& plan, const Scenario& scenario) {
  if (options.out.empty()) return {};
  auto folder = ResultFolder::open(system_file_ops(), options.out, folder_parts(plan, scenario, HOPBENCH_VERSION));
  if (const auto* trouble = std::get_if<FolderTrouble>(&folder)) {
    say_line("hopbench: --out: {}{} {}\n", options.out, trouble->differs ? "" : ":", trouble->why);
    return {std::nullopt, trouble->differs ? exit_bad_input : exit_trouble};
  }
  return {std::get<ResultFolder>(std::move(folder)), exit_done};
}

void make_runs(const Scenario& scenario, const SweepPlan& plan, const std::string& path,
               const std::vector<std::size_t>& missing, std::size_t there, const std::function<bool()>& stop,
               Workers& workers, SweepStore& store) {
  const BusFinder buses = buses_beside(path);
  StepProgress shown("runs");
  const std::size_t all = there + missing.size();
  const auto job = [&](std::size_t i, const StopAsked& unneeded) {
    if (auto run = make_sweep_run(scenario, plan, missing[i], buses, unneeded)) store.put(missing[i], run->bytes());
  };
  const auto progress = [&](std::size_t done, std::size_t) { shown.at(there + done, all); };
  workers.each(
      missing.size(), job, [&] { return stop() || store.error() != 0; }, progress);
  shown.clear();
}

ExitCode run_sweep(const SweepOptions& options) {
  const auto shard = read_shard(options.shard);
  if (!shard) return exit_bad_input;
  if (shard->of > 1 && options.out.empty())
    return bad_input("--shard: the parts are put together from folders; name one with --out DIR");
  const auto asked = read_for(options.span);
  if (!asked) return exit_bad_input;
  const auto scenario = read_scenario(options.scenario, options.edits);
  if (!scenario) return exit_bad_input;
  auto plan = plan_of(options, *scenario, *asked);
  if (!plan) return exit_bad_input;
  const auto controller = read_controller(options.controller, options.hang_after);
  if (!controller) return exit_bad_input;
  const auto trouble = std::make_shared<ControllerTrouble>();
  plan->controller = options.controller;
  plan->in_seat = in_seat(*controller, trouble);

  const EndSignals signals;
  // There can be one program at a socket.
  Workers workers(controller->at.socket.empty() ? threads_or_all(options.threads) : 1);
  const auto stop = [] { return EndSignals::came(); };
  if (const auto why = all_impossible(*scenario, *plan, buses_beside(options.scenario), workers, stop))
    return bad_input("--vary: " + *why + (plan->points() > 1 ? " (no other point can be run either)" : ""));
  const auto [folder, code] = opened_folder(options, *plan, *scenario);
  if (code != exit_done) return code;

  SweepStore store(folder, plan->runs());
  std::vector<std::size_t> missing;
  std::size_t there = 0;
  for (std::size_t run = 0; run < plan->runs(); ++run) {
    if (!shard->has(run)) continue;
    if (store.get(run)) {
      ++there;
    } else {
      missing.push_back(run);
    }
  }
  make_runs(
      *scenario, *plan, options.scenario, missing, there, [&] { return stop() || trouble->any(); }, workers, store);
  if (trouble->any()) {
    say_line("hopbench: {}\n", trouble->what());
    return exit_trouble;
  }
  if (store.error() != 0) {
    say_line("hopbench: --out: {}: {}; what is in it is whole, and the same command goes on from there\n", options.out,
             file_error(store.error()));
    return exit_trouble;
  }
  const Sweep sweep = joined_sweep(
      *plan, [&](std::size_t run) { return shard->has(run) ? store.get(run) : std::optional<SweepRun>(); });
  print_sweep(sweep, {options.json, options.csv});
  if (sweep.runs < there + missing.size()) {
    say_line("hopbench: interrupted; {}\n",
             folder ? "the same command goes on from there" : "with --out DIR the same command would go on from there");
    return exit_incomplete;
  }
  return exit_done;
}

}  // namespace

void add_sweep(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<SweepOptions>();
  auto* command = app.add_subcommand("sweep", "Run a scenario over a grid of values and seeds");
  auto* scenario = command->add_option("scenario", options->scenario, "Scenario file");
  auto* vary = command
                   ->add_option("--vary", options->vary,
                                "Give a field these values, e.g. controller.retries=0,1,2 or \"baud=9600..76800 x2\"; "
                                "several make a grid")
                   ->type_name("FIELD=VALUES")
                   ->expected(1)
                   ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
  auto* seeds = command->add_option("--seeds", options->seeds,
                                    "Run each point N times, each with the next random seed (default: 1), e.g. 5");
  auto* first = command->add_option("--from-seed", options->first_seed,
                                    "Begin with this random seed, e.g. 7 (default: the scenario's)");
  auto* span = command
                   ->add_option("--for", options->span,
                                "Make each run this long, e.g. 2d (default: run_for of the scenario, or 1h)")
                   ->type_name("DURATION");
  auto edits = add_edit_options(*command, options->edits);
  auto* controller = add_controller_option(*command, options->controller, options->hang_after);
  auto* out = command
                  ->add_option(
                      "--out", options->out,
                      "Keep each finished run in this folder; the same command goes on from there (default: keep none)")
                  ->type_name("DIR");
  auto* shard =
      command
          ->add_option("--shard", options->shard, "Make only every N-th run, from the I-th on, e.g. 1/3 (default: all)")
          ->type_name("I/N");
  auto* threads = add_threads_option(*command, options->threads);
  command->add_option("--merge", options->merge, "Put together what these folders keep of one sweep, and run nothing")
      ->type_name("DIR")
      ->expected(1, -1);
  const std::vector<CLI::Option*> of_runs{scenario, vary,       seeds, first, span,   edits[0],
                                          edits[1], controller, out,   shard, threads};
  auto* json = command->add_flag("--json", options->json, "Print the results as JSON");
  command->add_flag("--csv", options->csv, "Print the results as CSV, a line for each point")->excludes(json);
  command->callback([options, of_runs, &exit_code] {
    const bool of_run = std::any_of(of_runs.begin(), of_runs.end(), [](const auto* each) { return each->count() > 0; });
    if (!options->merge.empty() && of_run) {
      exit_code = bad_input("sweep: --merge runs nothing: give it folders, and at most --json or --csv");
    } else if (!options->merge.empty()) {
      exit_code = merge_sweeps(options->merge, {options->json, options->csv});
    } else if (options->scenario.empty()) {
      exit_code = bad_input("sweep: a scenario is missing (or --merge DIR...)");
    } else {
      exit_code = run_sweep(*options);
    }
  });
}

}  // namespace hopbench
