// `hopbench measure`: the summary of a run, from its capture.
#include <fmt/format.h>
#include <unistd.h>

#include <cstdio>
#include <memory>
#include <string>

#include "cli/commands.h"
#include "measure/fan_out.h"
#include "record/truth.h"
#include "view/summary.h"
#include "view/terminal.h"

namespace hopbench {
namespace {

struct MeasureOptions {
  std::string capture;
  bool json = false;
};

void tell_damage(const std::string& path, const CaptureDamage& damage) {
  const auto say = [&](const std::string& what) { fmt::print(stderr, "hopbench: {}: {}\n", path, what); };
  if (damage.bytes_skipped > 0 || damage.records_missing > 0) {
    say(fmt::format("damaged: {} bytes skipped, at least {} records missing", damage.bytes_skipped,
                    damage.records_missing));
  }
  if (damage.newer) say("some of it was written by a newer hopbench");
  if (damage.sum_disagrees) say("its records are not those that were written: the sum at its end does not agree");
  if (damage.unclosed)
    say("not closed: it is still being written, or its writer was stopped; measured as far as it goes");
  if (damage.torn_bytes > 0)
    say(fmt::format("the last {} bytes are a record that is not all there", damage.torn_bytes));
}

ExitCode measure(const MeasureOptions& options) {
  std::string why;
  auto source = open_file(options.capture, why);
  if (!source) {
    fmt::print(stderr, "hopbench: {}: {}\n", options.capture, why);
    return exit_trouble;
  }
  CaptureReader reader(std::move(source));
  struct HeadSeen final : Sink {
    bool seen = false;
    void begin(const RunInfo&) override { seen = true; }
    void exchange(const ExchangeObs&, const ExchangeTruth*) override {}
    void stray(const Stray&) override {}
    void arrival(const Arrival&) override {}
    void end(Nanos, const Lateness&) override {}
  } head;
  MeasureFold fold;
  CauseFold causes;
  FanOut all{&head, &fold, &causes};
  replay(reader, all);
  const CaptureDamage damage = reader.damage();
  if (!head.seen) {
    fmt::print(stderr, "hopbench: {}: {}\n", options.capture,
               damage.newer ? "written by a newer hopbench" : "no capture, or its head cannot be read");
    return exit_bad_input;
  }
  const CaptureNote note{damage.bytes_skipped, damage.records_missing, damage.torn_bytes, damage.unclosed};
  const Summary summary{fold.run(), fold.measures(), causes.counts().known ? &causes.counts() : nullptr, note};
  fmt::print("{}", options.json ? summary_json(summary) : summary_table(summary, {colour_wanted(STDOUT_FILENO)}));
  std::fflush(stdout);
  tell_damage(options.capture, damage);
  return damage.in_the_middle() ? exit_incomplete : exit_done;
}

}  // namespace

void add_measure(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<MeasureOptions>();
  auto* command = app.add_subcommand("measure", "Tell what became of a run, from its capture");
  command->add_option("capture", options->capture, "Capture file")->required();
  command->add_flag("--json", options->json, "Print the summary as JSON");
  command->callback([options, &exit_code] { exit_code = measure(*options); });
}

}  // namespace hopbench
