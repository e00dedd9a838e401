#include "cli/read_capture.h"

#include <fmt/format.h>

#include <cstdio>
#include <optional>
#include <vector>

#include "cli/say.h"
#include "record/from_head.h"
#include "text/scenario.h"
#include "view/file_trouble.h"
#include "view/number_text.h"

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

}  // namespace

ExitCode read_capture(const std::string& path, Sink& sink, CaptureRead& read) {
  std::string why;
  const auto capture = open_capture(path, why);
  if (!capture) {
    say_line("hopbench: {}: {}\n", path, why);
    return exit_trouble;
  }
  FromHead head(sink);
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
