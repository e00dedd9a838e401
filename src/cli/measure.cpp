// `hopbench measure`: the summary of a run, from its capture.
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <deque>
#include <memory>
#include <optional>
#include <string>
#include <tuple>
#include <vector>

#include "cli/commands.h"
#include "cli/read_capture.h"
#include "cli/run_length.h"
#include "cli/say.h"
#include "cli/series_file.h"
#include "measure/fan_out.h"
#include "measure/rounds.h"
#include "record/named_parts.h"
#include "seen/reality.h"
#include "view/number_text.h"
#include "view/summary.h"
#include "view/terminal.h"

namespace hopbench {
namespace {

struct MeasureOptions {
  std::vector<std::string> captures;
  bool json = false;
  bool all = false;
  SeriesOptions series;
};

/// One capture, measured.
struct Measured {
  explicit Measured(const std::string& round_entry) : rounds(round_entry) {}
  MeasureFold fold;
  CauseFold causes;
  RoundFold rounds;
  CaptureDamage damage;
};

std::string round_entry_in(const std::string& path) {
  const auto scenario = scenario_in(path);
  return scenario ? round_entry(scenario->chain) : std::string();
}

ExitCode read_one(const std::string& path, Measured& measured) {
  FanOut all{&measured.fold, &measured.causes, &measured.rounds};
  CaptureRead read;
  const auto code = read_capture(path, all, read);
  measured.damage = read.damage;
  return code;
}

/// What keeps runs from being merged; empty if nothing does.
std::string difference(const Measured& a, const Measured& b) {
  const auto& one = a.fold.run();
  const auto& two = b.fold.run();
  const auto link = [](const LinkInfo& info) {
    return std::tie(info.hop, info.from, info.to, info.homeward, info.vantage);
  };
  const auto reality = reality_of(two);
  if (reality_of(one) != reality) {
    return fmt::format("not the same was real ({} and {})", in_passing(reality), in_passing(reality_of(one)));
  }
  if (one.controller != two.controller || one.nodes != two.nodes || one.cells != two.cells) return "other nodes";
  if (!std::equal(one.links.begin(), one.links.end(), two.links.begin(), two.links.end(),
                  [&](const auto& x, const auto& y) { return link(x) == link(y); })) {
    return "other links, or seen from elsewhere";
  }
  if (!a.fold.measures().same_shape(b.fold.measures())) return "other topics, or other cells are asked for";
  return {};
}

/// Whether both tell of the same time of the same run. (Not a proof; but who runs the same scenario with the same seed
/// gets the same run.) What lies at a border may be in both.
bool overlap(const Measured& a, const Measured& b) {
  const auto& one = a.fold.measures();
  const auto& two = b.fold.measures();
  if (!a.fold.run().simulated || a.fold.run().scenario != b.fold.run().scenario ||
      a.fold.run().seed != b.fold.run().seed) {
    return a.fold.run().scenario == b.fold.run().scenario && one.all.asked > 0 && one == two;
  }
  if (one.from == never || two.from == never) return false;
  const Nanos common = std::min(one.until, two.until) - std::max(one.from, two.from);
  const Nanos shorter = std::min(one.until - one.from, two.until - two.from);
  return common > shorter / 2;
}

/// Files of one capture, each read by itself, with others between them that were not named.
bool misses_files_between(const std::string& path, const std::optional<FilePlace>& before,
                          const std::optional<FilePlace>& place) {
  if (!before || !place || before->run_id != place->run_id || place->number <= before->number + 1) return false;
  // A number that was taken when the file was made is missing without harm: the next one goes on in time.
  if (before->until && before->goes_on && place->floor && *place->floor <= *before->until) return false;
  if (before->number == 0 && before->goes_on) return false;  // its further files were found, or are told as missing
  say_line("hopbench: {}: is file {} of its capture, and file {} was named before it; what lies between is missing\n",
           path, place->number, before->number);
  return true;
}

ExitCode measure(const std::vector<std::string>& captures, bool as_document, bool all_rows) {
  std::deque<Measured> all;
  Measures measures;
  CauseCounts causes;
  RoundMeasures rounds;
  Coverage coverage;
  CaptureNote note;
  bool in_the_middle = false;
  std::vector<CaptureDamage> damages;
  std::optional<FilePlace> before;
  for (std::size_t i = 0; i < captures.size(); ++i) {
    auto& one = all.emplace_back(round_entry_in(captures[i]));
    const auto& first = all.front();
    if (const auto code = read_one(captures[i], one); code != exit_done) return code;
    if (const auto why = i == 0 ? std::string() : difference(first, one); !why.empty()) {
      say_line("hopbench: {} cannot be added to {}: {}\n", captures[i], captures[0], why);
      return exit_bad_input;
    }
    for (std::size_t other = 0; other < i; ++other) {
      if (!overlap(all[other], one)) continue;
      say_line(
          "hopbench: {} cannot be added to {}: the same run, over the same time: it would count twice (a capture "
          "in several files is named by its first one only)\n",
          captures[i], captures[other]);
      return exit_bad_input;
    }
    const auto place = captures.size() > 1 ? place_of(captures[i]) : std::nullopt;
    in_the_middle = misses_files_between(captures[i], before, place) || in_the_middle;
    before = place;
    measures.merge(one.fold.measures());
    rounds.merge(one.rounds.measures());
    if (i == 0) {
      causes = one.causes.counts();
    } else {
      causes.merge(one.causes.counts());
    }
    coverage.merge(one.fold.coverage());
    note.bytes_skipped += one.damage.bytes_skipped;
    note.records_missing += one.damage.records_missing;
    note.files_missing += one.damage.segments_missing;
    note.files_misplaced += one.damage.segments_misplaced;
    note.files_cut += one.damage.segments_cut;
    note.causes_unreadable += one.damage.causes_unreadable;
    note.torn_bytes += one.damage.torn_bytes;
    note.unclosed = note.unclosed || one.damage.unclosed;
    in_the_middle = in_the_middle || one.damage.in_the_middle();
    damages.push_back(one.damage);
  }
  const Summary summary{all.front().fold.run(), measures, causes.known ? &causes : nullptr, note, coverage,
                        captures.size(),        &rounds};
  fmt::print("{}",
             as_document ? summary_json(summary) : summary_table(summary, {colour_wanted(STDOUT_FILENO), all_rows}));
  std::fflush(stdout);
  for (std::size_t i = 0; i < damages.size(); ++i)
    tell_damage(captures[i], damages[i], "what failed in a row goes on across what is missing");
  return in_the_middle ? exit_incomplete : exit_done;
}

}  // namespace

void add_measure(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<MeasureOptions>();
  auto* command =
      app.add_subcommand("measure", "Print the summary of a run, or of several of the same chain, from captures");
  command->add_option("captures", options->captures, "Capture files")->required()->type_name("FILE");
  command->add_flag("--json", options->json, "Print the summary as JSON");
  command->add_flag("--all", options->all, "Show a row for each hop and node (default: healthy ones share one)");
  auto* series = command->add_option("--series", options->series.path,
                                     "Write a row of comma-separated values for each step to this new file, e.g. "
                                     "run.csv; of one capture only");
  series->type_name("FILE");
  command->add_option("--step", options->series.step, "Make a row of --series this long: 1s to 10d (default: 10min)")
      ->type_name("DURATION")
      ->needs(series);
  command->callback([options, &exit_code] {
    std::vector<std::string> told;
    const auto captures = each_once(options->captures, told);
    for (const auto& line : told) say_line("hopbench: {}\n", line);
    if (!options->series.path.empty() && captures.size() > 1) {
      say_line("hopbench: --series is of one capture, and {} are named\n", captures.size());
      exit_code = exit_bad_input;
      return;
    }
    exit_code = measure(captures, options->json, options->all);
    if (options->series.path.empty() || (exit_code != exit_done && exit_code != exit_incomplete)) return;
    if (const auto code = write_series(captures.front(), options->series); code != exit_done) exit_code = code;
  });
}

}  // namespace hopbench
