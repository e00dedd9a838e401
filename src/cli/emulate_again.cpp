#include "cli/emulate_again.h"

#include <fmt/format.h>

#include <algorithm>
#include <memory>
#include <vector>

#include "cli/build_info.h"
#include "cli/listeners.h"
#include "cli/mechanism_options.h"
#include "cli/run_length.h"
#include "cli/say.h"
#include "record/byte_source.h"
#include "record/capture_reader.h"
#include "text/scenario.h"

namespace hopbench {
namespace {

/// The first record of a capture; false, said on stderr, if there is none or it is of a run that the records
/// of a port do not bring about again.
bool read_head(const std::string& path, CaptureReader& reader, Record& record) {
  while (reader.next(record)) {
    if (record.kind != RecordKind::head) continue;
    if (record.head.run.granted_time) {
      say_line(
          "hopbench: {}: a program was the controller, and the capture does not hold what it decided; run it again "
          "with "
          "`hopbench run SCENARIO --controller`\n",
          path);
      return false;
    }
    if (!record.head.run.simulated) return true;
    say_line("hopbench: {}: no session at a port; `hopbench run` repeats a run in virtual time\n", path);
    return false;
  }
  say_line("hopbench: {}: no capture, or its head cannot be read\n", path);
  return false;
}

/// Feeds what the port took in. Returns false if the chain got stuck.
bool feed(CaptureReader& reader, Chain& chain) {
  Record record;
  Nanos covered = 0;
  Lateness lateness;
  while (reader.next(record)) {
    if (record.kind == RecordKind::arrival) {
      const Arrival arrival = record.arrival.seen();
      if (arrival.bytes.empty()) {
        if (!chain.run_until(std::max(arrival.at, chain.now()))) return false;
        chain.port_was_late(arrival.late_from, arrival.late_to);
      } else {
        chain.arrive(arrival.at, arrival.paced, arrival.bytes, arrival.flags);
      }
      covered = std::max(covered, arrival.at);
    } else if (record.is_exchange()) {
      covered = std::max(covered, record.exchange.fixed.closed);
    } else if (record.kind == RecordKind::end) {
      covered = record.end.until;
      lateness = record.end.lateness;
    }
  }
  if (!chain.run_until(std::max(covered, chain.now()))) return false;
  chain.finish(lateness);
  return true;
}

}  // namespace

ExitCode emulate_again(const AgainOptions& options) {
  WritePlan plan = unhurried_plan(monotonic_now);
  if (!apply(options.capture, plan)) return exit_bad_input;
  std::string why;
  const auto capture = open_capture(options.from, why);
  if (!capture) {
    say_line("hopbench: {}: {}\n", options.from, why);
    return exit_trouble;
  }
  CaptureReader& reader = *capture;
  Record record;
  if (!read_head(options.from, reader, record)) return exit_bad_input;
  const CaptureHead head = record.head;

  std::vector<Problem> problems;
  auto scenario =
      load_recorded({options.from + " (scenario)", head.scenario_text}, stored_bus(head.bus_text), problems);
  for (const auto& problem : problems) fmt::print(stderr, "{}", render(problem));
  if (!scenario) return exit_bad_input;
  apply_written(*scenario);

  Listeners listeners(round_entry(scenario->chain));
  if (!listeners.record_to(options.capture, {head.run_id, head.scenario_text, head.bus_text, this_build(0)}, plan)) {
    return exit_trouble;
  }
  const Protocol protocol(scenario->bus);
  Chain chain(protocol, scenario->chain, head.run.seed, options.way, Seat{true, head.run.time_out}, listeners.sink());
  if (!feed(reader, chain)) {
    say_line("hopbench: the chain is stuck at one instant (events without end), at {} ns\n", chain.now());
    return exit_bad_input;
  }
  const CaptureDamage damage = reader.damage();
  if (damage.unclosed) {
    say_line("hopbench: {}: not closed; run again as far as it goes\n", options.from);
  }
  if (damage.in_the_middle()) {
    say_line("hopbench: {}: damaged, {} bytes skipped; what came in there is missing from the run\n", options.from,
             damage.bytes_skipped);
  }
  listeners.print_summary(options.json, options.all);
  return listeners.capture_is_whole() && !damage.in_the_middle() ? exit_done : exit_incomplete;
}

}  // namespace hopbench
