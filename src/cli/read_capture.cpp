#include "cli/read_capture.h"

#include <fmt/format.h>

#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <optional>
#include <vector>

#include "cli/progress_steps.h"
#include "cli/say.h"
#include "measure/fan_out.h"
#include "record/from_head.h"
#include "seen/ignoring_sink.h"
#include "text/scenario.h"
#include "view/file_trouble.h"
#include "view/number_text.h"
#include "view/terminal.h"

namespace hopbench {

namespace {

/// Where a capture does not begin with its head, the first head that can be read in it.
std::optional<RunInfo> head_of_a_later_file(const std::string& path) {
  std::string why;
  const auto capture = open_capture(path, why);
  if (!capture) return std::nullopt;
  Record record;
  bool later = false;
  while (capture->next(record)) {
    if (record.kind != RecordKind::head) {
      later = true;
    } else {
      return later ? std::optional(record.head.run) : std::nullopt;
    }
  }
  return std::nullopt;
}

/// How far into its capture a reader is, for a person who waits.
class ReadWatch final : public IgnoringSink {
 public:
  ReadWatch(const std::string& path, Nanos until)
      : path_(path), until_(until), began_(Clock::now()), next_(began_ + show_every) {}

  void exchange(const ExchangeObs& obs, const ExchangeTruth*) override {
    if (++seen_ % 1024 == 0) at(obs.closed);
  }
  [[nodiscard]] std::uint64_t whole_from() const override { return ~std::uint64_t{0}; }
  void again(std::span<const ExchangeObs>, std::span<const Repeat> repeats) override {
    if (!repeats.empty()) at(repeats.back().start);
  }
  void tally(const Tally& tally) override { at(tally.to); }

 private:
  using Clock = std::chrono::steady_clock;
  static constexpr auto show_every = std::chrono::milliseconds(250);

  void at(Nanos now) {
    if (!line_.shows() || Clock::now() < next_) return;
    next_ = Clock::now() + show_every;
    const double share = static_cast<double>(now) / static_cast<double>(std::max<Nanos>(1, until_));
    line_.show(fmt::format("{}: read {} of {}{}", path_, long_span(now), long_span(until_),
                           time_left(share, Clock::now() - began_)));
  }

  std::string path_;
  Nanos until_;
  Clock::time_point began_;
  Clock::time_point next_;
  std::uint64_t seen_ = 0;
  ProgressLine line_;
};

/// The last instant that a capture tells of, looked up without reading it through.
Nanos end_of(const std::string& path) {
  std::string why;
  const auto capture = open_capture(path, why);
  return capture ? capture->latest().value_or(0) : 0;
}

}  // namespace

ExitCode read_capture(const std::string& path, Sink& sink, CaptureRead& read) {
  std::string why;
  const auto capture = open_capture(path, why);
  if (!capture) {
    say_line("hopbench: {}: {}\n", path, why);
    return exit_trouble;
  }
  ReadWatch watch(path, is_terminal(STDERR_FILENO) ? end_of(path) : 0);
  FanOut both{&sink, &watch};
  FromHead head(both);
  if (const auto run = head_of_a_later_file(path)) head.know(*run);
  replay(*capture, head);
  read.run = head.run();
  read.damage = capture->damage();
  if (head.seen()) return exit_done;
  say_line("hopbench: {}: {}\n", path, why_no_capture(read.damage));
  return exit_bad_input;
}

void tell_damage(const std::string& path, const CaptureDamage& damage, const char* of_the_middle) {
  const auto say = [&](const std::string& what) { say_line("hopbench: {}: {}\n", path, what); };
  const auto skipped = skipped_text(damage.bytes_skipped, damage.records_missing);
  if (!skipped.empty()) say("damaged: " + skipped);
  if (damage.bad_segments() > 0) say(file_trouble(damage));
  if (damage.causes_unreadable > 0) {
    say(fmt::format("the causes of {} exchanges cannot be read", grouped(damage.causes_unreadable)));
  }
  if (damage.in_the_middle()) say(of_the_middle);
  if (damage.newer) say("some of it was written by a newer hopbench");
  if (damage.sum_disagrees) say("its records are not those that were written: the sum at its end does not agree");
  if (damage.goes_on) {
    say("its last file says that the run goes on in another, which is not here");
  } else if (damage.unclosed) {
    say("not closed: it is still being written, or its writer was stopped; read as far as it goes");
  }
  if (damage.torn_bytes > 0)
    say(fmt::format("the last {} bytes are a record that is not all there", grouped(damage.torn_bytes)));
}

std::optional<std::uint64_t> run_id_in(const std::string& path) {
  std::string why;
  const auto capture = open_capture(path, why);
  if (!capture) return std::nullopt;
  Record record;
  while (capture->next(record)) {
    if (record.kind == RecordKind::head) return record.head.run_id;
  }
  return std::nullopt;
}

std::unique_ptr<Protocol> bus_of(const std::string& path, const std::string& scenario_text,
                                 const std::string& bus_text) {
  std::vector<Problem> problems;
  const auto scenario = load_recorded({path, scenario_text}, stored_bus(bus_text), problems);
  return scenario ? std::make_unique<Protocol>(scenario->bus) : nullptr;
}

std::optional<Nanos> wall_clock_in(const std::string& path, Nanos began_at) {
  std::string why;
  const auto capture = open_capture(path, why);
  if (!capture) return std::nullopt;
  constexpr int soon = 8;  // it is the second record of a capture
  Record record;
  for (int i = 0; i < soon && capture->next(record); ++i) {
    if (record.kind != RecordKind::build) continue;
    const Nanos started = record.build.wall_start;
    return started != 0 && is_instant(started) ? std::optional(started - began_at) : std::nullopt;
  }
  return std::nullopt;
}

std::optional<Scenario> scenario_in(const std::string& path) {
  std::string why;
  const auto capture = open_capture(path, why);
  if (!capture) return std::nullopt;
  Record record;
  while (capture->next(record)) {
    if (record.kind != RecordKind::head) continue;
    std::vector<Problem> problems;
    return load_recorded({path, record.head.scenario_text}, stored_bus(record.head.bus_text), problems);
  }
  return std::nullopt;
}

std::unique_ptr<Protocol> bus_in(const std::string& path) {
  const auto scenario = scenario_in(path);
  return scenario ? std::make_unique<Protocol>(scenario->bus) : nullptr;
}

const char* why_no_capture(const CaptureDamage& damage) {
  return damage.newer ? "written by a newer hopbench" : "no capture, or its head cannot be read";
}

}  // namespace hopbench
