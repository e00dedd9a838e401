// A soak's figures in the Prometheus text format 0.0.4 (https://prometheus.io/docs/instrumenting/exposition_formats/).
#include <fmt/format.h>

#include <algorithm>
#include <string_view>

#include "base/plain_text.h"
#include "view/soak_report.h"

namespace hopbench {
namespace {

using Text = fmt::memory_buffer;

/// A label's value: backslash, quote and line feed are escaped.
std::string label(std::string_view text) {
  std::string out;
  for (const char c : harmless(text)) {
    if (c == '\\' || c == '"') out += '\\';
    out += c;
  }
  return out;
}

void head(Text& text, std::string_view name, std::string_view kind, std::string_view help) {
  fmt::format_to(fmt::appender(text), "# HELP {0} {2}\n# TYPE {0} {1}\n", name, kind, help);
}

void one(Text& text, std::string_view name, std::string_view kind, std::string_view help, double value) {
  head(text, name, kind, help);
  fmt::format_to(fmt::appender(text), "{} {}\n", name, value);
}

double seconds(Nanos span) { return static_cast<double>(span) / static_cast<double>(second); }

}  // namespace

std::string soak_metrics(const SoakReport& report) {
  Text text;
  const Soak& soak = report.soak;
  const Measures measures = soak.measures();
  one(text, "hopbench_soak_elapsed_seconds", "gauge", "Time of the run that is over.",
      seconds(report.now - report.start));
  one(text, "hopbench_soak_planned_seconds", "gauge", "Time that the run is to last.",
      seconds(report.until - report.start));
  one(text, "hopbench_soak_simulated", "gauge", "1 if any of the chain or the controller is simulated.",
      anything_simulated(report.reality) ? 1 : 0);
  if (report.saved_at) {
    head(text, "hopbench_soak_saved_timestamp_seconds", "gauge",
         "When the state was saved last, since 1970: a soak that is alive saves at least once a minute.");
    fmt::format_to(fmt::appender(text), "hopbench_soak_saved_timestamp_seconds {}\n", *report.saved_at / second);
  }
  head(text, "hopbench_exchanges_total", "counter", "Exchanges by outcome, after all retries.");
  for (std::size_t i = 0; i < outcome_count; ++i) {
    fmt::format_to(fmt::appender(text), "hopbench_exchanges_total{{outcome=\"{}\"}} {}\n",
                   name_of(static_cast<Outcome>(i)), measures.all.outcomes[i]);
  }
  one(text, "hopbench_tries_total", "counter", "Tries, the first ones included.",
      static_cast<double>(measures.all.tries));
  head(text, "hopbench_node_failed_total", "counter", "Exchanges with a node that failed after all retries.");
  for (std::size_t i = 0; i < soak.run().nodes.size(); ++i) {
    const auto& node = measures.nodes[i];
    fmt::format_to(fmt::appender(text), "hopbench_node_failed_total{{node=\"{}\"}} {}\n", label(soak.run().nodes[i]),
                   node.asked - node[Outcome::answered]);
  }
  head(text, "hopbench_hop_frames_total", "counter", "Good frames put on a hop, by what became of them there.");
  for (std::size_t i = 0; i < soak.run().links.size(); ++i) {
    const auto& info = soak.run().links[i];
    const auto& link = measures.links[i];
    for (const bool well : {true, false}) {
      fmt::format_to(fmt::appender(text),
                     "hopbench_hop_frames_total{{hop=\"{}\",from=\"{}\",to=\"{}\",heard=\"{}\"}} {}\n", info.hop,
                     label(info.from), label(info.to), well ? "well" : "badly",
                     well ? link.frames_out : link.frames_in - link.frames_out);
    }
  }
  Nanos unseen = 0;
  for (const auto& group : measures.cells) unseen = std::max(unseen, measures.longest_unseen(group).span);
  one(text, "hopbench_cell_unseen_longest_seconds", "gauge", "Longest time without a reading of a cell.",
      seconds(unseen));
  if (const auto longest = measures.all.round_trip.most()) {
    one(text, "hopbench_round_trip_longest_seconds", "gauge", "Longest round trip.", seconds(*longest));
  }
  if (report.port) {
    const Coverage coverage = soak.coverage();
    one(text, "hopbench_late_apart_total", "counter",
        "Exchanges that the computer, late at the port, may have decided; in no other figure.",
        static_cast<double>(soak.apart()));
    one(text, "hopbench_gap_seconds_total", "counter", "Time in which nothing was tested.", seconds(coverage.gap_time));
    one(text, "hopbench_send_late_worst_seconds", "gauge", "Most that something was sent too late.",
        seconds(report.port->lateness.worst));
    one(text, "hopbench_clock_sets_total", "counter", "Times that the computer's clock was set.",
        static_cast<double>(report.port->clock.sets));
  }
  head(text, "hopbench_requirement_decision", "gauge", "1 accepted, -1 rejected, 0 undecided.");
  const auto states = soak.states();
  for (std::size_t i = 0; i < states.size(); ++i) {
    const Ruling decision = states[i].decided.decision;
    fmt::format_to(fmt::appender(text), "hopbench_requirement_decision{{number=\"{}\",that=\"{}\"}} {}\n", i + 1,
                   label(soak.requirements()[i].that),
                   decision == Ruling::accepted   ? 1
                   : decision == Ruling::rejected ? -1
                                                  : 0);
  }
  return fmt::to_string(text);
}

}  // namespace hopbench
