#include "budget/bus_checks.h"

#include <algorithm>
#include <map>
#include <set>
#include <string>
#include <tuple>
#include <utility>

#include "scenario/link_table.h"

namespace hopbench {
namespace {

constexpr double year_ns = 365.25 * 86'400 * 1e9;
constexpr double most_bit_error = 0.5;

/// A frame that came in damaged may go on as it is.
bool passes_damage(const ChainDescription& chain, std::uint16_t station) {
  if (station == nobody) return false;
  const KindSpec& kind = chain.kinds[chain.nodes[station].kind];
  return kind.forwarding.kind != Forwarding::whole || kind.on_bad_check == OnBadCheck::pass_on;
}

class Unnoticed {
 public:
  Unnoticed(const std::vector<CheckBudget>& by_shape, const ChainDescription& chain, std::optional<double> bit_error)
      : by_shape_(&by_shape), chain_(&chain), links_(chain.shape, chain.nodes.size()), wished_(bit_error) {}

  /// In one exchange.
  double in(const EntryBudget& entry) {
    double sum = 0;
    double so_far = 0;
    for (std::size_t i = 0; i < entry.hops.size(); ++i) {
      const HopBudget& hop = entry.hops[i];
      so_far += bit_error_on(hop.link);
      const bool last = i + 1 == entry.hops.size() || entry.hops[i + 1].answering != hop.answering;
      if (!last && passes_damage(*chain_, links_[hop.link].to)) continue;
      sum += hop.answering ? of_frame(entry.frames.answer_shape, entry.frames.answer_payload, so_far)
                           : of_frame(entry.frames.ask_shape, entry.frames.ask_payload, so_far);
      so_far = 0;
    }
    return sum;
  }
  [[nodiscard]] bool any() const { return any_; }

 private:
  [[nodiscard]] double bit_error_on(std::uint16_t link) const {
    return wished_.value_or(static_cast<double>(chain_->links[link].bit_error) / static_cast<double>(certain));
  }
  double of_frame(std::size_t shape, std::size_t payload, double bit_error) {
    if (bit_error <= 0) return 0;
    any_ = true;
    const auto [place, fresh] = known_.emplace(std::tuple(shape, payload, bit_error), 0);
    if (fresh) place->second = (*by_shape_)[shape].unnoticed(payload, std::min(bit_error, most_bit_error));
    return place->second;
  }

  const std::vector<CheckBudget>* by_shape_;
  const ChainDescription* chain_;
  LinkTable links_;
  std::optional<double> wished_;
  std::map<std::tuple<std::size_t, std::size_t, double>, double> known_;
  bool any_ = false;
};

}  // namespace

BusChecks bus_checks(const std::vector<EntryBudget>& entries, std::size_t planned, Nanos round,
                     const Protocol& protocol, const ChainDescription& chain, std::optional<double> bit_error) {
  BusChecks checks;
  const BusDescription& bus = protocol.description();
  std::vector<CheckBudget> by_shape;
  for (std::size_t shape = 0; shape <= bus.shapes.size(); ++shape) by_shape.emplace_back(bus, shape);
  std::set<std::pair<std::size_t, std::size_t>> frames;  // shape and payload
  for (const EntryBudget& each : entries) {
    frames.emplace(each.frames.ask_shape, each.frames.ask_payload);
    if (each.frames.answer_bytes > 0) frames.emplace(each.frames.answer_shape, each.frames.answer_payload);
  }
  std::set<std::size_t> shapes{0};
  for (const auto& [shape, payload] : frames) {
    shapes.insert(shape);
    for (const CheckedLength& each : by_shape[shape].lengths(payload)) checks.lengths.push_back(each);
  }
  for (const std::size_t shape : shapes) {
    for (const std::string& name : by_shape[shape].unchecked()) {
      if (std::find(checks.unchecked.begin(), checks.unchecked.end(), name) == checks.unchecked.end())
        checks.unchecked.push_back(name);
    }
  }
  if (round <= 0 || round == never) return checks;
  Unnoticed unnoticed(by_shape, chain, bit_error);
  double sum = 0;
  for (std::size_t i = 0; i < planned; ++i) {
    const EntryBudget& each = entries[i];
    const double a_year =
        year_ns / static_cast<double>(round) / static_cast<double>(std::max<std::uint64_t>(1, each.entry.every));
    checks.frames_a_year += a_year * static_cast<double>(each.hops.size());
    sum += a_year * unnoticed.in(each);
  }
  if (unnoticed.any()) checks.unnoticed_a_year = sum;
  return checks;
}

}  // namespace hopbench
