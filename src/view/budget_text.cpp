#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <utility>
#include <vector>

#include "scenario/link_table.h"
#include "view/budget_report.h"
#include "view/number_text.h"
#include "view/paragraph.h"

namespace hopbench {
namespace {

constexpr std::size_t most_listed = 3;  // of what may be many

std::string plural(std::size_t count, const char* one, const char* many) {
  return fmt::format("{} {}", grouped(count), count == 1 ? one : many);
}

std::string span_text(Nanos span) {
  if (span == never || span == -never) return "no bound";
  if (span < 0) return "-" + short_span(-span);
  return span < 120 * second ? short_span(span) : long_span(span);
}

std::string pair_name(const ChainDescription& chain, const ClockPair& pair) {
  return station_name(chain, pair.from) + " -> " + station_name(chain, pair.to);
}

std::string hop_range(const LinkTable& links, const std::vector<HopBudget>& hops, std::size_t from, std::size_t to) {
  const std::uint16_t first = links[hops[from].link].hop;
  const std::uint16_t last = links[hops[to - 1].link].hop;
  return first == last ? fmt::format("hop {}", first) : fmt::format("hops {} to {}, each", first, last);
}

// --- exchanges --------------------------------------------------------------------------------------------------

/// Entries of one poll for nodes of one kind.
struct Row {
  std::string what;
  std::string who;
  std::size_t entries = 0;
  const EntryBudget* tightest = nullptr;
  CaseSpans answered;
  Nanos margin = never;
};

Row& row_of(std::vector<Row>& rows, const std::string& what, const std::string& who) {
  for (Row& row : rows) {
    if (row.what == what && row.who == who) return row;
  }
  rows.push_back({what, who, 0, nullptr, {}, never});
  return rows.back();
}

std::vector<Row> rows_of(const BudgetReport& report) {
  std::vector<Row> rows;
  for (const EntryBudget& each : report.budget.entries) {
    if (!each.awaited()) continue;
    const std::uint16_t node = each.entry.node;
    const std::string who = node == nobody ? "everyone" : report.chain.kinds[report.chain.nodes[node].kind].name;
    const std::string refused = each.frames.reply == Reply::refusal ? " (refused)" : "";
    Row& row = row_of(rows, each.entry.name.substr(0, each.entry.name.rfind('/')) + refused, who);
    const bool first = row.entries++ == 0;
    for (const BudgetCase which : budget_cases) {
      const bool least = which == BudgetCase::best;
      Nanos& of_row = row.answered[which];
      if (first) of_row = each.answered[which];
      of_row = least ? std::min(of_row, each.answered[which]) : std::max(of_row, each.answered[which]);
    }
    if (row.tightest == nullptr || each.margin.worst() < row.margin) {
      row.tightest = &each;
      row.margin = each.margin.worst();
    }
  }
  return rows;
}

std::string exchanges(const BudgetReport& report) {
  std::string out = fmt::format(
      "Exchanges, from the last edge of the ask until the controller knows the answer (time-out {})\n"
      "  {:<20}{:<14}{:>6}  {:>9}{:>9}{:>9}  {:>9}  {}\n",
      span_text(report.chain.controller.time_out), "asked", "of", "nodes", "best", "typical", "worst", "margin",
      "tightest");
  for (const Row& row : rows_of(report)) {
    out += fmt::format("{} {}{}{:>6}  {:>9}{:>9}{:>9}  {:>9}  {}\n", row.margin < 0 ? '!' : ' ', fitted(row.what, 20),
                       fitted(row.who, 14), grouped(row.entries), span_text(row.answered.best()),
                       span_text(row.answered.typical()), span_text(row.answered.worst()), span_text(row.margin),
                       harmless(row.tightest->entry.name));
  }
  out += "  Best of the nearest node, typical and worst of the slowest; margin to the time-out at worst.\n";
  for (const EntryBudget& each : report.budget.entries) {
    if (each.frames.reply != Reply::none) continue;
    out += paragraph(2, "",
                     fmt::format("Nobody answers {}: it takes all tries, {}.", each.entry.name,
                                 plural(std::size_t{report.chain.controller.retries} + 1, "time-out", "time-outs")));
  }
  return out;
}

std::string hop_by_hop(const BudgetReport& report) {
  const EntryBudget* tightest = nullptr;
  for (const EntryBudget& each : report.budget.entries) {
    if (each.awaited() && (tightest == nullptr || each.margin.worst() < tightest->margin.worst())) tightest = &each;
  }
  if (tightest == nullptr) return "";
  const LinkTable links(report.chain.shape, report.chain.nodes.size());
  std::string out = fmt::format("\nHop by hop: {}, the exchange with the least margin\n  {:<44}{:>9}{:>9}{:>9}\n",
                                harmless(tightest->entry.name), "", "best", "typical", "worst");
  const auto line = [&](const std::string& what, const CaseSpans& spans) {
    out += fmt::format("  {}{:>9}{:>9}{:>9}\n", fitted(what, 44), span_text(spans.best()), span_text(spans.typical()),
                       span_text(spans.worst()));
  };
  const std::vector<HopBudget>& hops = tightest->hops;
  bool node_told = false;
  for (std::size_t i = 0; i < hops.size();) {
    if (hops[i].answering && !node_told) {
      line(fmt::format("{}, until it answers", station_name(report.chain, tightest->entry.node)), tightest->node);
      node_told = true;
    }
    std::size_t to = i + 1;
    while (to < hops.size() && hops[to].answering == hops[i].answering && hops[to].takes == hops[i].takes) ++to;
    line(fmt::format("{} on {}", hops[i].answering ? "answer" : "ask", hop_range(links, hops, i, to)), hops[i].takes);
    i = to;
  }
  if (tightest->behind > 0)
    out += fmt::format("  The worst counts {} behind asks to everyone.\n", span_text(tightest->behind));
  return out;
}

// --- cycle ------------------------------------------------------------------------------------------------------

std::string cycle(const BudgetReport& report) {
  const CycleBudget& cycle = report.budget.cycle;
  std::string out = fmt::format("\nPolling cycle\n  {:<44}{:>9}{:>9}{:>9}\n", "", "best", "typical", "worst");
  const auto line = [&](const char* what, const CaseSpans& spans) {
    out += fmt::format("  {:<44}{:>9}{:>9}{:>9}\n", what, span_text(spans.best()), span_text(spans.typical()),
                       span_text(spans.worst()));
  };
  line("longest round of the plan", cycle.longest_round);
  if (cycle.mean_round.typical() != cycle.longest_round.typical()) line("mean round", cycle.mean_round);
  out += fmt::format("  {:<62}{:>9}\n", "longest round, each exchange lost with all its retries",
                     span_text(cycle.all_lost));
  const auto unread = [&](const char* what, const std::optional<UnreadCell>& cell) {
    if (!cell) return;
    out += fmt::format("  {:<62}{:>9}  {} cell {}\n", what, span_text(cell->for_longest),
                       harmless(report.chain.nodes[cell->node].name), cell->cell);
  };
  unread("longest time without a reading of a cell, nothing lost", cycle.nothing_lost);
  unread("the same, one exchange lost with all its retries", cycle.one_lost);
  if (cycle.cells_never_asked > 0) {
    out += paragraph(2, "",
                     fmt::format("The plan reads no voltage of {}.", plural(cycle.cells_never_asked, "cell", "cells")));
  }
  for (const LargestChain& each : report.budget.largest) {
    const auto nodes = [&](std::size_t count) {
      return count >= each.addresses ? fmt::format("{} (all addresses) or more", count) : std::to_string(count);
    };
    out += paragraph(2, "",
                     fmt::format("Largest chain of {} alone for a round of {}: {} typical, {} at worst.",
                                 report.chain.kinds[each.kind].name, span_text(*report.wish.cycle),
                                 plural(each.typical, "node", "nodes"), nodes(each.worst)));
  }
  return out;
}

// --- buffers and clocks -------------------------------------------------------------------------------------------

std::string buffers(const BudgetReport& report) {
  const auto& rooms = report.budget.rooms;
  if (rooms.empty()) return "\nBuffers: no kind of node states one that a frame of this plan passes.\n";
  std::map<std::pair<std::size_t, std::size_t>, std::vector<const RoomBudget*>> alike;
  for (const RoomBudget& each : rooms) alike[{each.buffer, each.longest}].push_back(&each);
  std::string out = "\nBuffers, and the longest frame that a node has to hold\n";
  for (const auto& [sizes, nodes] : alike) {
    std::string names;
    for (std::size_t i = 0; i < std::min(nodes.size(), most_listed); ++i) {
      names += (i == 0 ? "" : ", ") + report.chain.nodes[nodes[i]->node].name;
    }
    if (nodes.size() > most_listed) names += fmt::format(" and {} more", nodes.size() - most_listed);
    const bool fits = sizes.second <= sizes.first;
    const std::string left = fits ? plural(sizes.first - sizes.second, "byte left", "bytes left")
                                  : fmt::format("{} too long", plural(sizes.second - sizes.first, "byte", "bytes"));
    out += paragraph(0, fits ? "  " : "! ",
                     fmt::format("{}: {} bytes, {} of {} has {}: {}.", names, sizes.first,
                                 nodes.front()->answering ? "the answer" : "the ask",
                                 report.budget.entries[nodes.front()->entry].entry.name, sizes.second, left));
  }
  return out;
}

std::string clocks(const BudgetReport& report) {
  std::vector<const ClockPair*> pairs;
  for (const ClockPair& each : report.budget.pairs) pairs.push_back(&each);
  std::stable_sort(pairs.begin(), pairs.end(), [](const auto* a, const auto* b) { return a->least < b->least; });
  const auto beyond = static_cast<std::size_t>(
      std::count_if(pairs.begin(), pairs.end(), [](const auto* each) { return each->least < 0; }));
  std::string out = fmt::format(
      "\nClocks: room between the votes over a character's last bit and its edges, in % of a bit ({})\n"
      "  {:<34}{:>10}{:>22}{:>26}\n",
      beyond == 0 ? fmt::format("{} in tolerance", plural(pairs.size(), "pair", "pairs"))
                  : fmt::format("{} of {} out of tolerance", beyond, plural(pairs.size(), "pair", "pairs")),
      "sender -> receiver", "as stated", "heat, supply and trim", "rates apart at most");
  const std::size_t shown = std::min(pairs.size(), std::max(most_listed, std::min<std::size_t>(beyond, 10)));
  for (std::size_t i = 0; i < shown; ++i) {
    out += fmt::format("{} {}{:>10.1f}{:>22.1f}{:>24.3f} %\n", pairs[i]->least < 0 ? '!' : ' ',
                       fitted(pair_name(report.chain, *pairs[i]), 34), 100 * pairs[i]->stated, 100 * pairs[i]->least,
                       pairs[i]->apart_ppm / 1e4);
  }
  if (pairs.size() > shown) out += fmt::format("  {} with more room\n", plural(pairs.size() - shown, "pair", "pairs"));
  for (const DivisorBudget& each : report.budget.divisors) {
    std::string text = fmt::format("{} Hz / ({} x {}) for {} Bd: {:+.2f} %", each.oscillator_hz, each.divisor,
                                   each.oversampling, report.bus.line.baud, each.error_percent);
    if (each.divisor != each.nearest) {
      text += fmt::format("; divisor {} would be {:+.2f} %", each.nearest, each.nearest_error_percent);
    }
    out += paragraph(
        2, "",
        fmt::format("Divisor of {}{}: {}.", station_name(report.chain, each.stations.front()),
                    each.stations.size() == 1 ? std::string() : fmt::format(" and {} more", each.stations.size() - 1),
                    text));
  }
  return out;
}

// --- checks -------------------------------------------------------------------------------------------------------

std::string distance_text(const CheckedLength& length) {
  if (length.distance > length.bits) return "all";
  return (length.at_least ? "at least " : "") + std::to_string(length.distance);
}

std::string checks(const BudgetReport& report) {
  const BusChecks& checks = report.budget.checks;
  if (checks.lengths.empty()) return "\nChecks: the bus has none. Damage that leaves a frame's form goes unnoticed.\n";
  std::string out = fmt::format("\nChecks, at the lengths of frame of this plan\n  {:<20}{:<22}{:>14}{:>14}{:>20}\n",
                                "check", "", "frame bytes", "covered bits", "Hamming distance");
  std::vector<std::size_t> parts;
  for (const CheckedLength& each : checks.lengths) {
    if (std::find(parts.begin(), parts.end(), each.part) == parts.end()) parts.push_back(each.part);
  }
  for (const std::size_t part : parts) {
    std::vector<const CheckedLength*> lengths;
    for (const CheckedLength& each : checks.lengths) {
      if (each.part == part) lengths.push_back(&each);
    }
    for (std::size_t i = 0; i < lengths.size();) {
      std::size_t to = i + 1;
      while (to < lengths.size() && distance_text(*lengths[to]) == distance_text(*lengths[i])) ++to;
      const auto range = [](std::size_t a, std::size_t b) {
        return a == b ? grouped(a) : fmt::format("{} to {}", a, b);
      };
      const CheckSpec& check = *report.bus.parts[part].check;
      out += fmt::format("  {}{:<22}{:>14}{:>14}{:>20}\n", fitted(check.name, 20), kind_of_check(check),
                         range(lengths[i]->frame_bytes, lengths[to - 1]->frame_bytes),
                         range(lengths[i]->bits, lengths[to - 1]->bits), distance_text(*lengths[i]));
      i = to;
    }
  }
  for (const std::size_t part : parts) {
    if (parts.size() < 2) break;
    std::string names;
    for (const std::string& name : CheckBudget(report.bus).covered_by_it_alone(part))
      names += (names.empty() ? "" : ", ") + name;
    if (!names.empty()) {
      out += paragraph(2, "", fmt::format("Only {} covers {}.", report.bus.parts[part].check->name, names));
    }
  }
  std::string open;
  for (const std::string& name : checks.unchecked) open += (open.empty() ? "" : ", ") + name;
  if (!open.empty()) out += paragraph(2, "! ", fmt::format("No check covers {}.", open));
  if (report.bus.line.parity != Parity::none) {
    out += "  Parity notices an odd number of wrong bits in a character; it is not counted below.\n";
  }
  const std::string rate = report.wish.bit_error ? fmt::format("one wrong bit in {:.3g}", 1 / *report.wish.bit_error)
                                                 : "the bit errors that the hops state";
  if (checks.unnoticed_a_year) {
    out += paragraph(2, "",
                     fmt::format("Expected frames a year with damage that no check notices: at most {:.2g}, of {:.3g} "
                                 "frames on all hops, with {}.",
                                 *checks.unnoticed_a_year, checks.frames_a_year, rate));
  } else {
    out += "  No hop states bit errors; --bit-error 1e-6 tells how many damaged frames a year go unnoticed.\n";
  }
  return out;
}

std::string verdict(const BudgetReport& report) {
  const Budget& budget = report.budget;
  std::string out;
  const auto say = [&](std::size_t count, const std::string& what) {
    if (count > 0) out += paragraph(0, "CANNOT WORK: ", what);
  };
  say(budget.late_at_best(),
      fmt::format("{} the time-out even if nothing holds them up.",
                  budget.late_at_best() == 1 ? "1 exchange cannot meet"
                                             : plural(budget.late_at_best(), "", "exchanges cannot meet")));
  say(budget.without_room(), fmt::format("{} a frame of this plan that is longer than the buffer.",
                                         plural(budget.without_room(), "node has to hold", "nodes have to hold")));
  say(budget.out_of_tolerance(),
      fmt::format("{} out of tolerance by the clocks as stated.",
                  plural(budget.out_of_tolerance(), "pair of stations is", "pairs of stations are")));
  if (!out.empty()) return out;
  const auto late =
      static_cast<std::size_t>(std::count_if(budget.entries.begin(), budget.entries.end(), [](const auto& each) {
        return each.awaited() && each.margin.worst() < 0;
      }));
  const auto apart = static_cast<std::size_t>(
      std::count_if(budget.pairs.begin(), budget.pairs.end(), [](const auto& each) { return each.least < 0; }));
  if (late > 0) out += paragraph(0, "At worst ", fmt::format("{} late.", plural(late, "exchange is", "exchanges are")));
  if (apart > 0) {
    out += paragraph(0, "At worst ",
                     fmt::format("{} out of tolerance; the other worst figures leave that out.",
                                 plural(apart, "pair of clocks is", "pairs of clocks are")));
  }
  return out.empty() ? "All exchanges meet the time-out, all frames fit, all clocks are in tolerance, also at worst.\n"
                     : out;
}

}  // namespace

std::string budget_text(const BudgetReport& report) {
  std::string out = fmt::format("Budget of {}: {} on {}, {} Bd. Worked out; nothing is simulated or measured.\n",
                                harmless(report.chain.name), plural(report.chain.nodes.size(), "node", "nodes"),
                                harmless(report.bus.name), report.bus.line.baud);
  return out + verdict(report) + "\n" + exchanges(report) + hop_by_hop(report) + cycle(report) + buffers(report) +
         clocks(report) + checks(report);
}

}  // namespace hopbench
