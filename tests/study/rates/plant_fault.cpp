// Faults put in on purpose, of each class.
#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "plant.h"

namespace hopbench::rates {
namespace {

/// One fault, on one hop, with the frames of one node, or anywhere.
Planted put(const Ground& g, const std::string& what, const std::string& leg = {}) {
  Planted planted;
  std::string where;
  double frames = 0;
  if (chance(g.dice, 60)) {
    const std::size_t link = g.draft.links() - 1 - g.dice.up_to(g.draft.links() / 2);
    planted.links = {link};
    where = g.draft.hop_of(link);
    frames = g.habits.frames[link];
  } else if (chance(g.dice, 50)) {
    planted.nodes = {g.node};
    where = fmt::format("nodes: \"{}\" ", g.draft.nodes[g.node].name);
    frames = g.habits.asked[g.node] * static_cast<double>(g.draft.links());
  } else {
    for (const double each : g.habits.frames) frames += each;
  }
  if (!leg.empty()) frames /= 2;
  const double rate = std::clamp(g.share / std::max(frames, 1e-3), 1e-9, 0.9);
  g.draft.faults.push_back(fmt::format("fault {{ name: \"fault-{}\" {} {}{}rate: {} }}", g.draft.faults.size() + 1,
                                       what, where, leg, share_text(rate)));
  return planted;
}

std::optional<Planted> corruption(const Ground& g) {
  const auto bits = g.dice.of<int>({1, 1, 2, 4, 8});
  return put(g, fmt::format("class: CORRUPTION bits: {}", bits));
}
std::optional<Planted> loss(const Ground& g) { return put(g, "class: LOSS"); }
std::optional<Planted> delay(const Ground& g) {
  const double by = g.time_out * log_between(g.dice, 1, 2);
  return put(g, fmt::format("class: DELAY by: {}", span_text(by)), "leg: ANSWERS ");
}
std::optional<Planted> repetition(const Ground& g) {
  return put(g, fmt::format("class: REPETITION by: {}", span_text(g.period * log_between(g.dice, 0.05, 1))));
}
std::optional<Planted> sequence(const Ground& g) {
  return put(g, fmt::format("class: SEQUENCE by: {}", span_text(g.time_out * log_between(g.dice, 1.1, 2))));
}
std::optional<Planted> insertion(const Ground& g) {
  return put(g, fmt::format("class: INSERTION by: {}", span_text(g.period * log_between(g.dice, 0.02, 0.5))));
}
std::optional<Planted> masquerade(const Ground& g) {
  return put(g, fmt::format("class: MASQUERADE value: {}", 1 + g.dice.up_to(254)), "leg: ANSWERS ");
}
std::optional<Planted> address(const Ground& g) {
  return put(g, fmt::format("class: ADDRESS value: {}", 1 + g.dice.up_to(g.draft.nodes.size() - 1)));
}

std::optional<Planted> memory(const Ground& g) {
  const double rate = std::clamp(g.share / std::max(0.05, g.habits.frames[Draft::link_into(g.node)]), 1e-9, 0.9);
  g.draft.faults.push_back(fmt::format("fault {{ name: \"fault-{}\" class: MEMORY nodes: \"{}\" bits: {} rate: {} }}",
                                       g.draft.faults.size() + 1, g.draft.nodes[g.node].name, 1 + g.dice.up_to(3),
                                       share_text(rate)));
  return Planted{{}, {g.node}, false};
}

std::optional<Planted> resets(const Ground& g) {
  const double start_up = log_between(g.dice, 0.5e9, 15e9);
  const double hits = 1 + start_up / std::max(g.period, g.time_out);
  const auto times = static_cast<std::uint64_t>(std::clamp(g.share * g.exchanges / hits, 2.0, 200.0));
  std::string at;
  for (std::uint64_t i = 0; i < times; ++i) {
    const double when = g.run() * (static_cast<double>(i) + log_between(g.dice, 0.1, 0.9)) / static_cast<double>(times);
    at += (at.empty() ? "" : ", ") + span_text(when);
  }
  g.draft.own_kind(g.node).fields["start_up"] = fmt::format(": {}", span_text(start_up));
  g.draft.faults.push_back(fmt::format("fault {{ name: \"fault-{}\" class: RESET nodes: \"{}\" at: [{}] }}",
                                       g.draft.faults.size() + 1, g.draft.nodes[g.node].name, at));
  return Planted{{}, {g.node}, false};
}

constexpr std::array fault{
    Plant{"CORRUPTION", Mechanism::injected, {}, corruption}, Plant{"LOSS", Mechanism::injected, {}, loss},
    Plant{"DELAY", Mechanism::injected, {}, delay},           Plant{"REPETITION", Mechanism::injected, {}, repetition},
    Plant{"SEQUENCE", Mechanism::injected, {}, sequence},     Plant{"INSERTION", Mechanism::injected, {}, insertion},
    Plant{"MASQUERADE", Mechanism::injected, {}, masquerade}, Plant{"ADDRESS", Mechanism::injected, {}, address},
    Plant{"MEMORY", Mechanism::injected, {}, memory},         Plant{"RESET", Mechanism::injected, {}, resets},
};

}  // namespace

std::span<const Plant> fault_plants() { return fault; }

}  // namespace hopbench::rates
