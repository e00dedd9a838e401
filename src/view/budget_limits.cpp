// Buffers, clocks and checks, as text.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <utility>
#include <vector>

#include "base/counted.h"
#include "bus/frame_plan.h"
#include "scenario/link_table.h"
#include "view/budget_sections.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

constexpr std::size_t most_names = 3;
constexpr std::size_t most_pairs = 3;       // listed if all are in tolerance
constexpr std::size_t most_bad_pairs = 10;  // and if not

std::string listed(const std::vector<std::string>& names) {
  std::string out;
  for (const std::string& name : names) out += (out.empty() ? "" : ", ") + name;
  return out;
}

std::string clock_lines(const BudgetReport& report, const std::vector<const ClockPair*>& pairs, std::size_t count) {
  std::string out =
      fmt::format("  {:<32}{:>14}{:>14}{:>16}\n", "sender -> receiver", "as stated %", "at worst %", "rates differ %");
  for (std::size_t i = 0; i < count; ++i) {
    out += fmt::format("{} {}{:>14.1f}{:>14.1f}{:>+16.3f}\n", pairs[i]->least < 0 ? '!' : ' ',
                       fitted(pair_name(report.chain, *pairs[i]), 32), 100 * pairs[i]->stated, 100 * pairs[i]->least,
                       pairs[i]->apart_ppm / 1e4);
  }
  if (pairs.size() > count) {
    out += fmt::format("  and {} with at least as much room\n", counted(pairs.size() - count, "pair"));
  }
  return out;
}

std::string divisor_line(const BudgetReport& report, const DivisorBudget& divisor) {
  const std::string others =
      divisor.stations.size() == 1 ? "" : fmt::format(" and {} more", divisor.stations.size() - 1);
  std::string text =
      fmt::format("Divisor of {}{}: {} Hz / ({} x {}) is {:+.2f} % off {} Bd.",
                  station_name(report.chain, divisor.stations.front()), others, grouped(divisor.oscillator_hz),
                  divisor.divisor, divisor.oversampling, divisor.error_percent, report.bus.line.baud);
  if (divisor.divisor != divisor.nearest) {
    text += fmt::format(" Divisor {} would be {:+.2f} % off.", divisor.nearest, divisor.nearest_error_percent);
  }
  return budget_line("  ", text);
}

// --- checks -----------------------------------------------------------------------------------------------------

std::string distance_text(const CheckedLength& length) {
  if (length.distance > length.bits) return "all seen";
  return (length.at_least ? "at least " : "") + std::to_string(length.distance);
}

std::string range_text(std::size_t a, std::size_t b) {
  return a == b ? grouped(a) : fmt::format("{} to {}", grouped(a), grouped(b));
}

using CheckPlace = std::pair<std::size_t, std::size_t>;  // shape and part

/// A check by its name, and by its shape if that is not the first.
std::string check_name(const BudgetReport& report, const CheckPlace& place) {
  const std::string& name = check_at(report.bus, place.first, place.second).name;
  return place.first == 0 ? name : fmt::format("{} ({})", name, report.bus.shapes[place.first - 1].name);
}

/// A line for each distance, and a warning where two wrong bits may pass.
std::string check_lines(const BudgetReport& report, const CheckPlace& place, std::string& warnings) {
  std::vector<const CheckedLength*> lengths;
  for (const CheckedLength& each : report.budget.checks.lengths) {
    if (CheckPlace(each.shape, each.part) == place) lengths.push_back(&each);
  }
  const CheckSpec& check = check_at(report.bus, place.first, place.second);
  const std::string name = check_name(report, place);
  std::string out;
  for (std::size_t i = 0; i < lengths.size();) {
    std::size_t to = i + 1;
    while (to < lengths.size() && distance_text(*lengths[to]) == distance_text(*lengths[i])) ++to;
    const bool weak = lengths[i]->distance <= 2 && !lengths[i]->at_least;
    const std::string frames = range_text(lengths[i]->frame_bytes, lengths[to - 1]->frame_bytes);
    out +=
        fmt::format("{} {}{}{:>12}{:>14}{:>18}\n", weak ? '!' : ' ', fitted(name, 16), fitted(kind_of_check(check), 18),
                    frames, range_text(lengths[i]->bits, lengths[to - 1]->bits), distance_text(*lengths[i]));
    if (weak) {
      warnings += budget_line("! ", fmt::format("2 wrong bits can pass {} in frames of {} bytes.", name, frames));
    }
    i = to;
  }
  return out;
}

/// Three digits of a large number, without a power of ten.
std::string large(double value) {
  if (value < 1e3 || value > 1e18) return fmt::format("{:.3g}", value);
  std::uint64_t rounded = static_cast<std::uint64_t>(value);
  std::uint64_t unit = 1;
  while (rounded / unit >= 1'000) unit *= 10;
  rounded = (rounded + unit / 2) / unit * unit;
  return grouped(rounded);
}

std::string damage_line(const BudgetReport& report) {
  const BusChecks& checks = report.budget.checks;
  if (!checks.unnoticed_a_year) {
    return "  No hop states bit errors. --bit-error 1e-6 tells how many damaged frames pass.\n";
  }
  const std::string rate = report.wish.bit_error ? fmt::format("1 wrong bit in {}", large(1 / *report.wish.bit_error))
                                                 : "the bit errors that the hops state";
  return budget_line("  ", fmt::format("At most {:.2g} of {} frames a year have damage that no check notices, with {}.",
                                       *checks.unnoticed_a_year, large(checks.frames_a_year), rate));
}

}  // namespace

std::string pair_name(const ChainDescription& chain, const ClockPair& pair) {
  return station_name(chain, pair.from) + " -> " + station_name(chain, pair.to);
}

std::string budget_buffers(const BudgetReport& report) {
  const auto& rooms = report.budget.rooms;
  std::string out = "\nBuffers: the longest frame that a node must hold\n";
  if (rooms.empty()) return out + "  No node that must hold a frame of this plan has a stated buffer.\n";
  std::map<std::pair<std::size_t, std::size_t>, std::vector<const RoomBudget*>> alike;
  for (const RoomBudget& each : rooms) alike[{each.buffer, each.longest}].push_back(&each);
  for (const auto& [sizes, nodes] : alike) {
    std::vector<std::string> names;
    for (std::size_t i = 0; i < std::min(nodes.size(), most_names); ++i) {
      names.push_back(report.chain.nodes[nodes[i]->node].name);
    }
    const std::string more = nodes.size() > most_names ? fmt::format(" and {} more", nodes.size() - most_names) : "";
    const auto [buffer, longest] = sizes;
    const std::string left = longest <= buffer ? fmt::format("{} left", counted(buffer - longest, "byte"))
                                               : fmt::format("{} too long", counted(longest - buffer, "byte"));
    out += budget_line(longest <= buffer ? "  " : "! ",
                       fmt::format("{} of {} bytes, {}: {}{}, {} of {}", longest, buffer, left, listed(names), more,
                                   nodes.front()->answering ? "the answer" : "the ask",
                                   report.budget.entries[nodes.front()->entry].entry.name));
  }
  return out;
}

std::string budget_clocks(const BudgetReport& report) {
  std::vector<const ClockPair*> pairs;
  for (const ClockPair& each : report.budget.pairs) pairs.push_back(&each);
  std::stable_sort(pairs.begin(), pairs.end(), [](const auto* a, const auto* b) { return a->least < b->least; });
  const auto beyond = static_cast<std::size_t>(
      std::count_if(pairs.begin(), pairs.end(), [](const auto* each) { return each->least < 0; }));
  std::string out = "\nClocks: room between samples and the edges of the bit, in % of a bit\n";
  const std::size_t shown = std::min(pairs.size(), std::max(most_pairs, std::min(beyond, most_bad_pairs)));
  const bool alike = !pairs.empty() && pairs.front()->least == pairs.back()->least &&
                     pairs.front()->stated == pairs.back()->stated && beyond == 0;
  if (alike) {
    out += fmt::format("  {}: {:.1f} as stated, {:.1f} at worst\n", counted(pairs.size(), "pair"),
                       100 * pairs.front()->stated, 100 * pairs.front()->least);
  } else {
    out += clock_lines(report, pairs, shown);
  }
  for (const DivisorBudget& each : report.budget.divisors) out += divisor_line(report, each);
  return out;
}

std::string budget_checks(const BudgetReport& report) {
  const BusChecks& checks = report.budget.checks;
  std::string out = "\nChecks: fewer wrong bits than the Hamming distance never pass\n";
  std::vector<CheckPlace> parts;
  for (const CheckedLength& each : checks.lengths) {
    const CheckPlace place(each.shape, each.part);
    if (std::find(parts.begin(), parts.end(), place) == parts.end()) parts.push_back(place);
  }
  if (parts.empty()) return out + budget_line("! ", "The bus has no check. Damage goes unnoticed.");
  out += fmt::format("  {:<34}{:>12}{:>14}{:>18}\n", "check", "frame bytes", "covered bits", "Hamming distance");
  std::string warnings;
  for (const CheckPlace& place : parts) out += check_lines(report, place, warnings);
  out += warnings;
  for (const CheckPlace& place : parts) {
    const auto of_shape =
        std::count_if(parts.begin(), parts.end(), [&](const CheckPlace& other) { return other.first == place.first; });
    if (of_shape < 2 || !parts_of(report.bus, place.first)[place.second].check) continue;
    const std::string names = listed(CheckBudget(report.bus, place.first).covered_by_it_alone(place.second));
    if (!names.empty()) out += budget_line("  ", fmt::format("Only {} covers {}.", check_name(report, place), names));
  }
  if (!checks.unchecked.empty()) {
    out += budget_line("! ", fmt::format("No check covers {}.", listed(checks.unchecked)));
  }
  if (report.bus.line.parity != Parity::none && checks.unnoticed_a_year) {
    out += budget_line("  ", "Parity, which sees an odd number of wrong bits in a character, is not counted here.");
  }
  return out + damage_line(report);
}

}  // namespace hopbench
