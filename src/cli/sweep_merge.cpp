#include "cli/sweep_merge.h"

#include <fmt/format.h>
#include <unistd.h>

#include <cstdio>
#include <optional>
#include <utility>
#include <variant>

#include "cli/say.h"
#include "record/result_folder.h"
#include "study/sweep_folder.h"
#include "view/number_text.h"
#include "view/sweep_report.h"
#include "view/terminal.h"

namespace hopbench {
namespace {

/// Thrown while runs are joined: two folders hold another result of the same run.
struct RunsDiffer {
  std::string one;
  std::string other;
};

ExitCode open_all(const std::vector<std::string>& paths, std::vector<ResultFolder>& folders) {
  for (const std::string& path : paths) {
    auto opened = ResultFolder::existing(path);
    if (const auto* trouble = std::get_if<FolderTrouble>(&opened)) {
      say_line("hopbench: {}: {}\n", path, trouble->why);
      return exit_trouble;
    }
    folders.push_back(std::get<ResultFolder>(std::move(opened)));
    const auto why = difference_of(folders.back().made_for(), folders.front().made_for());
    if (why.empty()) continue;
    say_line("hopbench: {} is of another sweep than {}: {}\n", path, paths.front(), why);
    return exit_bad_input;
  }
  return exit_done;
}

/// The run from whichever folder has it.
std::optional<SweepRun> find_run(const std::vector<ResultFolder>& folders, std::size_t run, std::size_t& damaged) {
  std::optional<std::vector<std::uint8_t>> found;
  std::string found_at;
  for (const ResultFolder& folder : folders) {
    bool bad = false;
    auto bytes = folder.get(run, bad);
    if (bad || (bytes && !SweepRun::parse(*bytes))) {
      say_line("hopbench: {}: is damaged, and left out\n", folder.file_of(run));
      ++damaged;
      continue;
    }
    if (bytes && found && *bytes != *found) throw RunsDiffer{found_at, folder.file_of(run)};
    if (!bytes || found) continue;
    found = std::move(bytes);
    found_at = folder.file_of(run);
  }
  return found ? SweepRun::parse(*found) : std::nullopt;
}

}  // namespace

void print_sweep(const Sweep& sweep, SweepPrint how) {
  fmt::print("{}", how.json  ? sweep_json(sweep)
                   : how.csv ? sweep_csv(sweep)
                             : sweep_text(sweep, {colour_wanted(STDOUT_FILENO)}));
  std::fflush(stdout);
}

ExitCode merge_sweeps(const std::vector<std::string>& paths, SweepPrint how) {
  std::vector<ResultFolder> folders;
  if (const auto code = open_all(paths, folders); code != exit_done) return code;
  const auto plan = plan_of_folder(folders.front().made_for());
  if (!plan) {
    say_line("hopbench: {}: its file \"folder\" is of no sweep that this version knows\n", paths.front());
    return exit_trouble;
  }
  std::size_t damaged = 0;
  Sweep sweep;
  try {
    sweep = joined_sweep(*plan, [&](std::size_t run) { return find_run(folders, run, damaged); });
  } catch (const RunsDiffer& differ) {
    say_line("hopbench: {} and {} are of one run, yet not the same: one of them is wrong\n", differ.one, differ.other);
    return exit_bad_input;
  }
  print_sweep(sweep, how);
  if (sweep.runs == plan->runs()) return damaged == 0 ? exit_done : exit_incomplete;
  say_line("hopbench: {} of {} runs are missing; make them with the same command and --out\n",
           grouped(plan->runs() - sweep.runs), grouped(plan->runs()));
  return exit_incomplete;
}

}  // namespace hopbench
