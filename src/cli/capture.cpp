// `hopbench capture`: what is in a capture file, and new ones made from it.
#include <fmt/format.h>

#include <cstdio>
#include <memory>
#include <string>
#include <vector>

#include "base/duration.h"
#include "cli/capture_check.h"
#include "cli/commands.h"
#include "cli/say.h"
#include "cli/watch.h"
#include "measure/fan_out.h"
#include "measure/thinner.h"
#include "record/capture_copy.h"
#include "record/capture_parts.h"
#include "record/copy_trouble.h"
#include "record/truth.h"
#include "seen/ignoring_sink.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

struct CopyOptions {
  std::string file;
  std::string out;
  std::vector<std::string> files;
  std::string from;
  std::string to;
  std::uint32_t keep_one_in = 0;
  std::uint32_t around = 3;
  bool json = false;
};

ExitCode tell(const Copied& copied, const std::string& out, const std::string& what = "") {
  if (copied.trouble != Copied::Trouble::none) {
    say_line("hopbench: {}\n", copied.why);
    return copied.trouble == Copied::Trouble::file ? exit_trouble : exit_bad_input;
  }
  fmt::print("{}: {} records{}", harmless(out), grouped(copied.records), what);
  if (copied.repeated > 0) fmt::print("; {} that two parts held were taken once", grouped(copied.repeated));
  fmt::print("\n");
  std::fflush(stdout);
  for (const auto& remark : copied.remarks) say_line("hopbench: {}\n", remark);
  if (!copied.damage.in_the_middle()) return copied.incomplete ? exit_incomplete : exit_done;
  say_line("hopbench: {}: made from what is damaged: {}\n", out, damage_text(copied.damage));
  return exit_incomplete;
}

bool read_instant(const char* option, const std::string& text, Nanos& instant) {
  if (text.empty()) return true;
  std::string why;
  const auto parsed = parse_duration(text, &why);
  if (!parsed) {
    say_line("hopbench: {} {}: {}\n", option, text, why);
    return false;
  }
  instant = *parsed;
  return true;
}

ExitCode cut(const CopyOptions& options) {
  CutSpan span;
  if (!read_instant("--from", options.from, span.from) || !read_instant("--to", options.to, span.to)) {
    return exit_bad_input;
  }
  if (span.from >= span.to) {
    say_line("hopbench: --to {} does not lie after --from {}\n", options.to, options.from);
    return exit_bad_input;
  }
  return tell(cut_capture(options.file, options.out, span), options.out);
}

/// A long job that Ctrl-C ends in order.
class StopOnSignal final : public IgnoringSink {
 public:
  void exchange(const ExchangeObs&, const ExchangeTruth*) override { look(); }
  [[nodiscard]] std::uint64_t whole_from() const override { return ~std::uint64_t{0}; }
  void again(std::span<const ExchangeObs>, std::span<const Repeat>) override { look(); }

 private:
  static void look() {
    if (EndSignals::came()) throw Interrupted{};
  }
};

ExitCode thin(const CopyOptions& options) {
  std::string why;
  const auto first = open_capture(options.file, why);
  if (!first) return tell(refused(Copied::Trouble::file, options.file + ": " + why), options.out);
  auto opening = read_opening(*first);
  if (!opening) {
    return tell(refused(Copied::Trouble::bad_input, options.file + ": no capture, or its head cannot be read"),
                options.out);
  }
  // The head tells the format of what is written now: tallies came later than captures did.
  RecordEncoder encoder;
  opening->head.segment = 0;
  const auto head = encoder.head(opening->head);
  opening->head_bytes.assign(head.begin(), head.end());
  CaptureCopy copy(options.out, *opening);
  if (copy.error() != 0) return tell(refused_file(options.out, copy.error()), options.out);
  const auto reader = open_capture(options.file, why);
  if (!reader) return tell(refused(Copied::Trouble::file, options.file + ": " + why), options.out);
  Thinner thinner(copy, options.keep_one_in, options.around);
  const EndSignals signals;
  StopOnSignal stop;
  FanOut both{&stop, &thinner};
  try {
    replay(*reader, both);
  } catch (const Interrupted&) {
    say_line("hopbench: interrupted; {} was not made\n", options.out);
    return exit_incomplete;
  }
  Copied copied;
  copied.damage = reader->damage();
  if (copied.damage.unclosed) {
    copied.remarks.push_back(options.file + ": not closed, and so is what was made of it");
    copy.leave_open();
    if (const auto hole = reader->hole_at_end()) thinner.dropped(hole->seen());
    thinner.end(0, {});  // what it still holds
  }
  if (const int error = copy.place(); error != 0) return tell(refused_file(options.out, error), options.out);
  copied.records = copy.records();
  const std::string what =
      fmt::format(" ({} exchanges, and {} tallied)", grouped(thinner.kept()), grouped(thinner.tallied()));
  return tell(copied, options.out, what);
}

void add_out_option(CLI::App& command, CopyOptions& options) {
  command.add_option("OUT", options.out, "The new capture, which must not exist")->required();
}

}  // namespace

void add_capture(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<CopyOptions>();
  auto* capture = app.add_subcommand("capture", "Check captures, and make new ones from them");
  capture->require_subcommand(1);

  auto* check = capture->add_subcommand("check", "Tell what is in captures, and whether they are sound");
  check->add_option("FILE", options->files, "Captures; the further files of one in several are found")->required();
  check->add_flag("--json", options->json, "Print as JSON");
  check->callback([options, &exit_code] { exit_code = check_captures(options->files, options->json); });

  auto* cutting = capture->add_subcommand("cut", "Make a capture of a span of time of another");
  cutting->add_option("FILE", options->file, "Capture")->required();
  add_out_option(*cutting, *options);
  cutting->add_option("--from", options->from, "Exchanges closed then or later, e.g. 2d; otherwise from its start")
      ->type_name("DURATION");
  cutting->add_option("--to", options->to, "Exchanges closed before then; otherwise to its end")->type_name("DURATION");
  cutting->callback([options, &exit_code] { exit_code = cut(*options); });

  auto* join = capture->add_subcommand("join", "Put parts of one run together");
  add_out_option(*join, *options);
  join->add_option("FILE", options->files, "Parts in order of time; one alone: with all its further files")->required();
  join->callback(
      [options, &exit_code] { exit_code = tell(join_captures(options->out, options->files), options->out); });

  auto* thinning = capture->add_subcommand("thin", "Keep the exchanges that tell something, the rest as tallies");
  thinning->add_option("FILE", options->file, "Capture")->required();
  add_out_option(*thinning, *options);
  thinning->add_option("--keep-one-in", options->keep_one_in, "Keep one in so many of the healthy exchanges; 0: none")
      ->capture_default_str();
  thinning->add_option("--around", options->around, "Keep so many before and after each that is not healthy")
      ->capture_default_str();
  thinning->callback([options, &exit_code] { exit_code = thin(*options); });
}

}  // namespace hopbench
