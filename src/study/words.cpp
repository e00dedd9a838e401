#include "study/words.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/counted.h"
#include "judge/limits.h"

namespace hopbench::words {

std::string count(std::uint64_t number) { return grouped(number); }

std::string counted(std::uint64_t number, const std::string& noun) { return hopbench::counted(number, noun); }

std::string of_failures(const Evidence& evidence, std::uint64_t looked_at) {
  return (is_sample(evidence) ? "about " : "") + count(looked_at * evidence.one_incident_in);
}

std::string share(double value) {
  const double percent = 100 * value;
  if (percent <= 0) return "0 %";
  if (percent >= 100) return "100 %";
  const int digits = std::clamp(1 - static_cast<int>(std::floor(std::log10(percent))), 0, 9);
  return fmt::format("{:.{}f} %", percent, digits);
}

std::string points(double difference) {
  if (difference == 0) return "0";
  const std::string text = share(std::abs(difference));
  return (difference < 0 ? "-" : "+") + text.substr(0, text.size() - 2);
}

std::string share_with_limits(std::uint64_t hits, std::uint64_t trials) {
  const auto known = share_of(std::min(hits, trials), trials);
  if (!known) return "of none";
  return fmt::format("{} ({} to {})", share(known->value), share(known->low), share(known->high));
}

std::string long_span(double length) {
  return span(static_cast<Nanos>(std::clamp(length, 0.0, static_cast<double>(farthest_instant))));
}

std::string span(Nanos length) {
  const auto value = static_cast<double>(length);
  if (value < 1e3) return fmt::format("{} ns", length);
  if (value < 1e6) return fmt::format("{:.3g} us", value / 1e3);
  if (value < 1e9) return fmt::format("{:.3g} ms", value / 1e6);
  if (value < 120e9) return fmt::format("{:.3g} s", value / 1e9);
  if (value < 7200e9) return fmt::format("{:.3g} min", value / 60e9);
  if (value < 172'800e9) return fmt::format("{:.3g} h", value / 3600e9);
  return fmt::format("{:.3g} d", value / 86'400e9);
}

std::string instant(Nanos at) {
  const Nanos seconds = std::max<Nanos>(at, 0) / second;
  const auto clock = fmt::format("{:02}:{:02}:{:02}", seconds % 86'400 / 3600, seconds % 3600 / 60, seconds % 60);
  return seconds < 86'400 ? clock : fmt::format("{} d {}", seconds / 86'400, clock);
}

std::string chance(double p) {
  if (p < 0.0001) return "below 0.0001";
  return fmt::format("{:.2g}", p);
}

std::string spaced(std::string_view name) {
  std::string text(name);
  std::replace(text.begin(), text.end(), '_', ' ');
  return text;
}

std::string list(const std::vector<std::string>& parts, const char* last) {
  std::string text;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    if (i > 0) text += i + 1 == parts.size() ? fmt::format(" {} ", last) : ", ";
    text += parts[i];
  }
  return text;
}

std::string hop(const RunInfo& run, std::uint16_t link) {
  if (link >= run.links.size()) return "an unknown hop";
  const auto& info = run.links[link];
  return fmt::format("hop {} ({} -> {})", info.hop, info.from, info.to);
}

std::string station(const RunInfo& run, std::uint16_t node) {
  return node < run.nodes.size() ? run.nodes[node] : "the controller";
}

std::string mechanism(Mechanism mechanism) {
  switch (mechanism) {
    case Mechanism::bit_noise:
      return "noise that turns single bits over";
    case Mechanism::bursts:
      return "noise that comes in bursts";
    case Mechanism::contact:
      return "a contact that opens now and then";
    case Mechanism::cable:
      return "an open cable";
    case Mechanism::clock:
      return "clocks too far apart";
    case Mechanism::busy_node:
      return "a node's processor busy with something else";
    case Mechanism::measurement:
      return "measuring, which holds answers back or tells old or bled-down values";
    case Mechanism::charger:
      return "ripple of the charger";
    case Mechanism::pulse_width:
      return "isolators that make pulses longer or shorter";
    case Mechanism::bleed_edges:
      return "edges of chopped bleeds that couple into the line";
    case Mechanism::supply:
      return "a station whose supply breaks down";
    case Mechanism::watchdog:
      return "a station restarted by its watchdog";
    case Mechanism::room:
      return "frames too long for a station's buffer or FIFO";
    case Mechanism::wake_up:
      return "a sleeping station that loses what wakes it";
    case Mechanism::controller:
      return "the controller's own timing";
    case Mechanism::balancing:
      return "balancing";
    case Mechanism::injected:
      return "faults put in on purpose";
  }
  return {};
}

std::string place(const Evidence& evidence, const Case& which) {
  if (evidence.sight == Sight::controller_only) return "somewhere on the chain";
  const bool wire = on_links(which.family);
  const auto& places = wire ? which.links : which.stations;
  if (places.empty()) return "somewhere";
  std::vector<std::string> names;
  for (std::size_t i = 0; i < std::min<std::size_t>(places.size(), 3); ++i) {
    names.push_back(wire ? hop(evidence.run, places[i]) : station(evidence.run, places[i]));
  }
  if (places.size() <= 3) return (wire ? "on " : "at ") + list(names);
  return fmt::format("{} {}, most {} {}", wire ? "on" : "at", counted(places.size(), wire ? "hop" : "station"),
                     wire ? "on" : "at", names.front());
}

std::string as_told(Condition condition, const Known& known, std::uint64_t exchanges) {
  const auto what = phrase_of(condition);
  if (known.exchanges > 0) {
    const double of_all =
        static_cast<double>(known.exchanges) / static_cast<double>(std::max<std::uint64_t>(1, exchanges));
    return fmt::format("{} up to {} old{}", what, span(known.oldest),
                       of_all < 0.9995 ? fmt::format(" (known for {} of the exchanges)", share(of_all)) : "");
  }
  switch (known.tellable) {
    case Tellable::no:
      return fmt::format("{} is not told on this bus", what);
    case Tellable::yes:
      return fmt::format("{} could be told on this bus, and was not by enough nodes", what);
    case Tellable::not_known:
      break;
  }
  return fmt::format("{} is not told (the capture does not say what its bus tells)", what);
}

std::string left_out(std::uint64_t doubtful) {
  return fmt::format("{} left out: the bench was so late at the port that this may have decided what came of {}.",
                     doubtful == 1 ? "1 exchange is" : count(doubtful) + " exchanges are",
                     doubtful == 1 ? "it" : "them");
}

std::string look(Family family) {
  switch (family) {
    case Family::wire:
      return "frames damaged or lost on the wire";
    case Family::collided:
      return "frames that met another one on their hop";
    case Family::no_room:
      return "frames longer than a buffer";
    case Family::swallowed:
      return "frames heard well and not passed on or not answered";
    case Family::changed:
      return "frames changed inside a station";
    case Family::late:
      return "answers after the time-out";
    case Family::ignored:
      return "answers that reached the controller in time and did it no good";
    case Family::refused:
      return "refusals";
    case Family::mismatched:
      return "answers to another request";
    case Family::bad_value:
      return "values stale or wrong";
    case Family::truncated:
      return "answers without all the values that were asked for";
    case Family::bad_ask:
      return "asks that the controller sent damaged";
    case Family::unseen:
      break;
  }
  return "no answer, and nobody saw why";
}

}  // namespace hopbench::words
