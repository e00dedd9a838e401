#include "draft.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace hopbench::rates {
namespace {

std::string fields_text(const Fields& fields) {
  std::string text;
  for (const auto& [name, value] : fields) text += "  " + name + value + "\n";
  return text;
}

/// Charged and loaded every four hours; at the top of each charge cells drift apart.
std::string battery_text(const Draft& draft) {
  return "battery {\n  capacity: \"10Ah\" capacity_spread: \"2%\" charge: \"90%\" charge_spread: \"3%\"\n"
         "  cell_resistance: \"2mohm\" tap_resistance: \"20mohm\" leakage: \"2mA\" leakage_spread: \"2mA\"\n" +
         draft.taps +
         "}\ncycle {\n  period: \"4h\" load: \"2A\" load_from: \"10min\" load_for: \"100min\"\n"
         "  charge: \"4A\" charge_from: \"2h\" charge_for: \"110min\" absorb: \"3.55V\" done: \"100mA\"\n}\n"
         "air { mean: \"25C\" swing: \"6C\" }\n";
}

}  // namespace

std::string Draft::name_of_end(std::size_t link) const {
  const auto node = receiver(link);
  return node ? nodes[*node].name : "controller";
}

std::optional<std::size_t> Draft::sender(std::size_t link) const {
  if (homeward(link)) return 2 * nodes.size() - 1 - link;
  if (link == 0) return std::nullopt;
  return link - 1;
}

std::optional<std::size_t> Draft::receiver(std::size_t link) const {
  if (homeward(link)) {
    if (link + 1 == 2 * nodes.size()) return std::nullopt;
    return 2 * nodes.size() - 2 - link;
  }
  if (link >= nodes.size()) return std::nullopt;
  return link;
}

std::string Draft::hop_of(std::size_t link) const {
  return fmt::format("into: \"{}\" {}", name_of_end(link),
                     line ? (homeward(link) ? "homeward: true " : "homeward: false ") : "");
}

KindDraft& Draft::own_kind(std::size_t node) {
  const auto used =
      std::count_if(nodes.begin(), nodes.end(), [&](const NodeDraft& each) { return each.kind == nodes[node].kind; });
  if (used > 1) {
    KindDraft own = kinds[nodes[node].kind];
    own.name += "-" + nodes[node].name;
    nodes[node].kind = kinds.size();
    kinds.push_back(std::move(own));
  }
  return kinds[nodes[node].kind];
}

std::string Draft::text() const {
  std::string text =
      fmt::format("name: \"drawn-{}\"\nseed: {}\nrun_for: {}\n", seed, seed, span_text(static_cast<double>(run_for)));
  text += inline_bus.empty() ? fmt::format("bus: \"{}\"\n", bus) : inline_bus;
  text += fmt::format("baud: {}\nshape: {}\n", baud, line ? "LINE" : "RING");
  for (const KindDraft& kind : kinds) {
    const bool used = std::any_of(nodes.begin(), nodes.end(),
                                  [&](const NodeDraft& node) { return kinds[node.kind].name == kind.name; });
    if (!used) continue;
    text += fmt::format("kind {{\n  name: \"{}\" cells: {}\n{}}}\n", kind.name, kind.cells, fields_text(kind.fields));
  }
  for (const NodeDraft& node : nodes)
    text += fmt::format("nodes {{ name: \"{}\" kind: \"{}\" {}}}\n", node.name, kinds[node.kind].name, node.clock);
  text += "every_hop { " + every_hop + "}\n";
  for (const HopDraft& hop : hops) text += fmt::format("hop {{ {}{} }}\n", hop_of(hop.link), hop.conditions);
  for (const std::string& fault : faults) text += fault + "\n";
  if (battery) text += battery_text(*this);
  text += "controller {\n" + fields_text(controller);
  for (const std::string& poll : polls) text += "  " + poll + "\n";
  return text + "}\n";
}

std::string span_text(double ns) {
  const auto whole = std::max<std::int64_t>(1, std::llround(ns));
  if (whole >= 1'000'000) return fmt::format("\"{}us\"", whole / 1000);
  return fmt::format("\"{}ns\"", whole);
}

std::string share_text(double share) {
  const auto parts = std::clamp<std::int64_t>(std::llround(share * 1e12), 1, 999'999'999'999);
  return fmt::format("\"{}e-12\"", parts);
}

std::string ppb_text(double share) { return fmt::format("\"{}ppb\"", std::llround(share * 1e9)); }

}  // namespace hopbench::rates
