#include "text/trip_checks.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/duration.h"
#include "scenario/link_table.h"
#include "scenario/shortest_trip.h"
#include "text/node_names.h"

namespace hopbench {
namespace {

/// Entries that take longer than they may, and what they take.
struct Slow {
  const Rehearsed* longest = nullptr;
  const Rehearsed* shortest = nullptr;
  Nanos most = 0;
  Nanos least = never;
  std::size_t in_time = 0;
  std::vector<std::uint16_t> nodes;
  bool to_everyone = false;

  void add(const Rehearsed& each, Nanos takes, Nanos allowed) {
    if (takes < least) {
      least = takes;
      shortest = &each;
    }
    if (takes > most) {
      most = takes;
      longest = &each;
    }
    if (takes <= allowed) {
      ++in_time;
    } else if (each.entry.node == nobody) {
      to_everyone = true;
    } else {
      nodes.push_back(each.entry.node);
    }
  }
  [[nodiscard]] bool any() const { return !nodes.empty() || to_everyone; }
  [[nodiscard]] std::string who(const ChainDescription& chain) {
    std::sort(nodes.begin(), nodes.end());
    nodes.erase(std::unique(nodes.begin(), nodes.end()), nodes.end());
    if (!to_everyone) return node_names(chain, nodes);
    return nodes.empty() ? "everyone" : node_names(chain, nodes) + " and everyone";
  }
};

std::string trip_of(const Rehearsed& each, const ChainDescription& chain) {
  if (each.entry.node == nobody) return fmt::format("coming round from everyone ({}) takes", each.entry.topic);
  return fmt::format("an answer of {} ({}) takes", chain.nodes[each.entry.node].name, each.entry.topic);
}

/// Three digits, as a person would write it: not more than it is, or not less.
Nanos digits_of(Nanos span) {
  Nanos step = 1;
  while (span / step >= 1'000) step *= 10;
  return step;
}
std::string rounded_down(Nanos span) { return format_duration(span / digits_of(span) * digits_of(span)); }
std::string rounded_up(Nanos span) {
  const Nanos step = digits_of(span);
  return format_duration((span + step - 1) / step * step);
}

/// How long an exchange is open for an answer to its first ask.
Nanos open_for(const ControllerSpec& controller) {
  Nanos open = controller.time_out;
  Nanos pause = controller.back_off.first;
  for (std::uint32_t i = 0; i < controller.retries; ++i) {
    open += std::min(pause, controller.back_off.longest) + controller.back_off.jitter + controller.time_out;
    pause = std::min(pause * controller.back_off.times, controller.back_off.longest);
  }
  return open;
}

}  // namespace

void check_trips(const std::vector<Rehearsed>& all, const Protocol& protocol, const ChainDescription& chain,
                 const Spot& root) {
  const ControllerSpec& controller = chain.controller;
  const Spot spot = root.in("controller");
  Slow answers;
  Slow values;
  bool never_open = true;
  for (const Rehearsed& each : all) {
    if (each.how.end != Rehearsal::End::answered) continue;
    const ShortestTrip trip = shortest_trip(protocol, chain, each.entry, each.how);
    answers.add(each, trip.answered, controller.time_out);
    never_open = never_open && trip.answered > open_for(controller);
    if (controller.fresh_within > 0 && trip.age > 0) values.add(each, trip.age, controller.fresh_within);
  }
  if (answers.any()) {
    const Rehearsed& one = answers.in_time == 0 ? *answers.shortest : *answers.longest;
    std::string what = fmt::format("time_out {} is too short for {}: from the end of the ask, {} {} at least",
                                   format_duration(controller.time_out),
                                   answers.in_time == 0 ? "all that is asked" : answers.who(chain), trip_of(one, chain),
                                   rounded_down(answers.in_time == 0 ? answers.least : answers.most));
    if (answers.in_time == 0 && answers.longest != answers.shortest) {
      what += fmt::format(", {} {}", trip_of(*answers.longest, chain), rounded_down(answers.most));
    }
    what += fmt::format("; \"{}\" and some room would be right", rounded_up(answers.most));
    if (never_open) {
      spot.in("time_out").say(what);
    } else {
      spot.in("time_out").warn(what);
    }
  }
  if (values.any()) {
    const std::string what = fmt::format(
        "fresh_within {} is too short for {}: when the controller knows them, values of {} ({}) are {} old at least",
        format_duration(controller.fresh_within), values.in_time == 0 ? "all that is asked" : values.who(chain),
        chain.nodes[values.longest->entry.node].name, values.longest->entry.topic, rounded_down(values.most));
    if (values.in_time == 0) {
      spot.in("fresh_within").say(what);
    } else {
      spot.in("fresh_within").warn(what);
    }
  }
}

}  // namespace hopbench
