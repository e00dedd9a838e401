// `hopbench explain`: why replies go missing, from what a capture shows.
#include <fmt/format.h>

#include <unistd.h>

#include <cstdio>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "cli/commands.h"
#include "cli/controller_option.h"
#include "cli/progress_steps.h"
#include "cli/read_capture.h"
#include "cli/say.h"
#include "cli/threads_option.h"
#include "cli/watch.h"
#include "cli/what_if.h"
#include "measure/causes.h"
#include "measure/fan_out.h"
#include "study/counters.h"
#include "study/evidence_fold.h"
#include "study/explanation.h"
#include "study/specimens.h"
#include "view/explain_report.h"
#include "view/terminal.h"

namespace hopbench {
namespace {

struct ExplainOptions {
  std::string capture;
  std::string vantage = "as-taken";
  bool json = false;
  bool what_if = false;
  bool quick = false;
};

struct Read {
  EvidenceFold evidence;
  SpecimenFold specimens{evidence};
  CauseFold causes;
  std::optional<Scenario> scenario;
  std::unique_ptr<Protocol> protocol;
  std::optional<CounterFold> counters;
  CaptureRead capture;
};

/// Causes go past the evidence, to a listener of their own.
ExitCode read_all(const ExplainOptions& options, Read& read) {
  read.scenario = scenario_in(options.capture);
  if (read.scenario) read.protocol = std::make_unique<Protocol>(read.scenario->bus);
  const Nanos began_at = read.scenario ? read.scenario->chain.start.at : 0;
  if (const auto wall = wall_clock_in(options.capture, began_at)) read.evidence.know_wall_clock(*wall);
  AtController shut(read.specimens, read.protocol.get());
  AsTold open(read.specimens, read.protocol.get(), TakeTold::on_real_chain);
  Observed door(options.vantage == "controller" ? static_cast<Observer&>(shut) : open);
  FanOut all{&door, &read.causes};
  std::optional<Observed> counting;
  if (read.protocol) {
    read.counters.emplace(*read.protocol);
    all.add(counting.emplace(*read.counters));
  }
  return read_capture(options.capture, all, read.capture);
}

/// Each mechanism on this chain, where only the controller's end was seen and the scenario's controller asked. Null:
/// interrupted.
std::optional<Reproduced> simulated(const Read& read, unsigned threads) {
  const Evidence& evidence = read.evidence.evidence();
  if (evidence.sight != Sight::controller_only || evidence.failures == 0 || !read.scenario ||
      !asked_by_plan(read.scenario->chain, evidence.run)) {
    return Reproduced{};
  }
  const EndSignals signals;
  StepProgress progress("simulations");
  auto reproduced = reproduce_all(
      *read.protocol, read.scenario->chain, plan_for(evidence, threads_or_all(threads)),
      [] { return EndSignals::came(); }, [&](std::size_t done, std::size_t runs) { progress.at(done, runs); });
  progress.clear();
  if (reproduced.stopped) return std::nullopt;
  return reproduced;
}

Bars bars_for(int file) {
  if (!is_terminal(file)) return Bars::none;
  return writes_utf8() ? Bars::utf8 : Bars::plain;
}

ExitCode run_explain(const ExplainOptions& options, unsigned threads) {
  Read read;
  if (const auto code = read_all(options, read); code != exit_done) return code;
  const auto reproduced = options.quick ? std::optional(Reproduced{}) : simulated(read, threads);
  if (!reproduced) {
    say_line("hopbench: interrupted; with --quick it explains without simulations\n");
    return exit_incomplete;
  }
  const auto explanation = explain(read.evidence.evidence(), reality_of(read.capture.run),
                                   read.counters ? &read.counters->counters() : nullptr,
                                   {&read.specimens, read.protocol.get(), &*reproduced});
  const auto& counts = read.causes.counts();
  const CauseCounts* causes = counts.known && options.vantage != "controller" ? &counts : nullptr;
  fmt::print("{}", options.json ? explain_json(explanation, read.capture.run, causes, &read.capture.damage)
                                : explain_text(explanation, read.capture.run, causes, bars_for(STDOUT_FILENO)));
  std::fflush(stdout);
  tell_damage(options.capture, read.capture.damage, "what is missing is in none of the numbers");
  return read.capture.damage.in_the_middle() ? exit_incomplete : exit_done;
}

}  // namespace

void add_explain(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<ExplainOptions>();
  auto what_if = std::make_shared<WhatIfOptions>();
  auto* command = app.add_subcommand("explain", "Find out from a capture where, when and why replies go missing");
  command->add_option("capture", options->capture, "Capture file; with --what-if a scenario")
      ->required()
      ->type_name("FILE");
  auto* vantage =
      command
          ->add_option("--vantage", options->vantage,
                       "as-taken, or controller: look at no more of the capture than a controller could know")
          ->check(CLI::IsMember({"as-taken", "controller"}));
  command->add_flag("--json", options->json, "Print the explanation as JSON");
  auto* quick = command->add_flag("--quick", options->quick,
                                  "From the controller: do not simulate each mechanism on this chain (wider groups)");
  auto* study = command->add_flag("--what-if", options->what_if,
                                  "Run the scenario without each of its mechanisms, and with each alone");
  study->excludes(vantage)->excludes(quick);
  const char* const group = "With --what-if";
  command->add_option("--seed", what_if->seed, "Use this random seed, e.g. 7 (default: the scenario's)")
      ->needs(study)
      ->group(group);
  auto* span = command
                   ->add_option("--for", what_if->span,
                                "Make each run this long, e.g. 2d (default: run_for of the scenario, or 1h)")
                   ->type_name("DURATION")
                   ->needs(study)
                   ->group(group);
  auto* exchanges =
      command->add_option("--exchanges", what_if->exchanges, "Make each run N exchanges long, e.g. 100000")
          ->excludes(span)
          ->needs(study)
          ->group(group);
  for (auto* option : add_edit_options(*command, what_if->edits)) option->needs(study)->group(group);
  add_controller_option(*command, what_if->controller, what_if->hang_after)
      ->needs(study)
      ->excludes(exchanges)
      ->group(group);
  add_threads_option(*command, what_if->threads);
  command->add_flag("--shares", what_if->shares, "Share out the failures among the mechanisms (a run for each set)")
      ->needs(study)
      ->group(group);
  command->callback([options, what_if, &exit_code] {
    if (!options->what_if) {
      exit_code = run_explain(*options, what_if->threads);
      return;
    }
    what_if->scenario = options->capture;
    what_if->json = options->json;
    exit_code = what_if_command(*what_if);
  });
}

}  // namespace hopbench
