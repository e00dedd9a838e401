#include "text/checked.h"

#include <fmt/format.h>

#include <set>

#include "base/counted.h"
#include "base/duration.h"
#include "text/bus.h"
#include "text/parse.h"
#include "text/scenario.h"

namespace hopbench {
namespace {

std::string_view framing_name(FramingKind kind) {
  constexpr std::string_view names[] = {"sized", "cobs", "slip", "hdlc", "marked", "fixed-length", "silence"};
  return names[static_cast<std::size_t>(kind)];
}

std::string about_line(const LineCoding& line) {
  constexpr std::string_view stops[] = {"1", "1.5", "2"};
  return fmt::format("{} Bd {}{}{}", line.baud, line.data_bits, "NEO"[static_cast<std::size_t>(line.parity)],
                     stops[line.stop_half_bits - 2]);
}

std::string about(const BusDescription& bus) {
  return fmt::format("bus description {}: {} framing, {}, {}", bus.name, framing_name(bus.framing.kind),
                     about_line(bus.line), counted(bus.topics.size(), "topic"));
}

/// Topics of the plan that change something in a node, as a note.
std::string about_changes(const Scenario& scenario) {
  std::set<std::string> changing;
  for (const PlanEntry& entry : scenario.chain.controller.plan) {
    for (const TopicSpec& topic : scenario.bus.topics) {
      if (topic.name == entry.topic && topic.changes) changing.insert(topic.name);
    }
  }
  std::string list;
  for (const std::string& name : changing) list += (list.empty() ? "" : ", ") + name;
  return list.empty() ? "" : fmt::format("; asks topics that change something: {}", list);
}

std::string about(const Scenario& scenario) {
  const ChainDescription& chain = scenario.chain;
  std::string text = fmt::format(
      "scenario {}: {} of {} on {} ({}), {} in the plan", chain.name, chain.shape == Shape::ring ? "ring" : "line",
      counted(chain.nodes.size(), "node"), scenario.bus.name, about_line(scenario.bus.line),
      chain.controller.plan.size() == 1 ? "1 entry" : fmt::format("{} entries", chain.controller.plan.size()));
  if (!chain.faults.empty()) text += fmt::format(", {}", counted(chain.faults.size(), "fault"));
  if (chain.run_for != 0) text += fmt::format(", runs for {}", format_duration(chain.run_for));
  return text + about_changes(scenario);
}

}  // namespace

Checked check_file(const TextFile& file) {
  Checked result;
  if (kind_of(file) == TextKind::bus) {
    if (const auto bus = load_bus(file, result.problems)) result.what_it_is = about(*bus);
  } else if (const auto scenario = load_scenario(file, buses_beside(file.name), result.problems)) {
    result.what_it_is = about(*scenario);
  }
  return result;
}

}  // namespace hopbench
