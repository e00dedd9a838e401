// `hopbench compare`: whether a chain does better after a change than before it.
#include <fmt/format.h>

#include <cstdio>
#include <memory>
#include <string>

#include "cli/commands.h"
#include "cli/read_capture.h"
#include "study/as_told.h"
#include "study/compare.h"
#include "view/compare_report.h"

namespace hopbench {
namespace {

struct Options {
  std::string before;
  std::string after;
  bool json = false;
  double worse_by_percent = 0.1;
  double matters = 2;
};

ExitCode read_side(const std::string& path, TallyFold& fold, bool& damaged) {
  const auto protocol = bus_in(path);
  AsTold told(fold, protocol.get(), TakeTold::on_real_chain);
  Observed door(told);
  CaptureRead read;
  const auto code = read_capture(path, door, read);
  if (code == exit_done) tell_damage(path, read.damage, "what is missing is in none of the numbers");
  damaged = damaged || read.damage.in_the_middle();
  return code;
}

ExitCode run_compare(const Options& options) {
  TallyFold before;
  TallyFold after;
  bool damaged = false;
  if (const auto code = read_side(options.before, before, damaged); code != exit_done) return code;
  if (const auto code = read_side(options.after, after, damaged); code != exit_done) return code;
  auto earlier = before.tallies();
  auto later = after.tallies();
  earlier.run_id = run_id_in(options.before);
  later.run_id = run_id_in(options.after);
  const auto comparison = compare(earlier, later, {options.worse_by_percent / 100, options.matters});
  fmt::print("{}", options.json ? compare_json(comparison, earlier, later) : compare_text(comparison, earlier, later));
  std::fflush(stdout);
  switch (comparison.verdict) {
    case Verdict::worse:
      return exit_failed;
    case Verdict::cannot_say:
    case Verdict::not_comparable:
      return exit_incomplete;
    case Verdict::better:
    case Verdict::no_difference:
      break;
  }
  return damaged ? exit_incomplete : exit_done;
}

}  // namespace

void add_compare(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<Options>();
  auto* command =
      app.add_subcommand("compare", "Decide whether a chain loses fewer replies after a change than before it");
  command->add_option("before", options->before, "Capture from before the change")->required()->type_name("FILE");
  command->add_option("after", options->after, "Capture from after it")->required()->type_name("FILE");
  command->add_flag("--json", options->json, "Print the comparison as JSON");
  command
      ->add_option("--matters", options->matters,
                   "Least change that matters: a rise of failures to FACTOR times as many, a fall to one FACTORth "
                   "(default: 2)")
      ->check(CLI::Range(1.01, 1000.0))
      ->type_name("FACTOR");
  command
      ->add_option("--worse-by", options->worse_by_percent,
                   "A rise by less than PERCENT of all tries does not matter (default: 0.1)")
      ->check(CLI::Range(0.0, 100.0))
      ->type_name("PERCENT");
  command->callback([options, &exit_code] { exit_code = run_compare(*options); });
}

}  // namespace hopbench
