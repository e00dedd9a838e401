#include <boost/json/array.hpp>
#include <boost/json/object.hpp>

#include "scenario/link_table.h"
#include "view/budget_report.h"
#include "view/json_text.h"

namespace hopbench {
namespace {

namespace json = boost::json;

json::value span(Nanos nanos) {
  if (nanos == never || nanos == -never) return nullptr;
  return nanos;
}

json::object by_case(const CaseSpans& spans) {
  return {{"best", span(spans.best())}, {"typical", span(spans.typical())}, {"worst", span(spans.worst())}};
}

json::object entry_json(const BudgetReport& report, std::size_t index) {
  const EntryBudget& entry = report.budget.entries[index];
  const ChainDescription& chain = report.chain;
  json::object object;
  object["name"] = entry.entry.name;
  object["node"] = entry.entry.node == nobody ? json::value(nullptr) : json::value(chain.nodes[entry.entry.node].name);
  object["topic"] = entry.entry.topic;
  object["in_plan"] = index < report.budget.planned;
  object["every"] = entry.entry.every;
  object["reply"] = name_of(entry.frames.reply);
  object["ask_bytes"] = entry.frames.ask_bytes;
  object["answer_bytes"] = entry.frames.answer_bytes;
  object["ask_ns"] = by_case(entry.ask);
  const ExchangeSteps& steps = report.budget.cycle.steps[index];
  object["to_next_ns"] = by_case(steps.step);
  object["given_up_ns"] = span(steps.given_up);
  if (!entry.awaited()) return object;
  object["out_ns"] = by_case(entry.out);
  object["node_ns"] = by_case(entry.node);
  object["home_ns"] = by_case(entry.home);
  object["behind_everyone_ns"] = span(entry.behind);
  object["answered_ns"] = by_case(entry.answered);
  object["margin_ns"] = by_case(entry.margin);
  json::array& hops = object["hops"].emplace_array();
  const LinkTable links(chain.shape, chain.nodes.size());
  for (const HopBudget& hop : entry.hops) {
    hops.push_back(json::object{{"hop", links[hop.link].hop},
                                {"from", station_name(chain, links[hop.link].from)},
                                {"to", station_name(chain, links[hop.link].to)},
                                {"frame", hop.answering ? "answer" : "ask"},
                                {"takes_ns", by_case(hop.takes)}});
  }
  return object;
}

json::value unread_json(const std::optional<UnreadCell>& unread, const ChainDescription& chain) {
  if (!unread) return nullptr;
  return json::object{
      {"node", chain.nodes[unread->node].name}, {"cell", unread->cell}, {"for_ns", span(unread->for_longest)}};
}

json::object cycle_json(const BudgetReport& report) {
  const CycleBudget& cycle = report.budget.cycle;
  json::object object;
  object["longest_round_ns"] = by_case(cycle.longest_round);
  object["mean_round_ns"] = by_case(cycle.mean_round);
  object["orders_to_bleed_ns"] = span(cycle.orders);
  object["all_lost_ns"] = span(cycle.all_lost);
  object["unread_nothing_lost"] = unread_json(cycle.nothing_lost, report.chain);
  object["unread_one_lost"] = unread_json(cycle.one_lost, report.chain);
  object["cells_never_asked"] = cycle.cells_never_asked;
  return object;
}

json::object most_json(const LargestChain::Most& most) {
  return {{"nodes", most.nodes}, {"limit", name_of(most.limit)}};
}

json::array largest_json(const BudgetReport& report) {
  json::array largest;
  for (const LargestChain& each : report.budget.largest) {
    largest.push_back(json::object{{"kind", report.chain.kinds[each.kind].name},
                                   {"typical", most_json(each.typical)},
                                   {"worst", most_json(each.worst)}});
  }
  return largest;
}

json::array buffers_json(const BudgetReport& report) {
  json::array buffers;
  for (const RoomBudget& each : report.budget.rooms) {
    buffers.push_back(json::object{{"node", report.chain.nodes[each.node].name},
                                   {"buffer_bytes", each.buffer},
                                   {"longest_frame", each.longest},
                                   {"of", report.budget.entries[each.entry].entry.name},
                                   {"frame", each.answering ? "answer" : "ask"},
                                   {"fits", each.fits()}});
  }
  return buffers;
}

json::array clocks_json(const BudgetReport& report) {
  const LinkTable links(report.chain.shape, report.chain.nodes.size());
  json::array clocks;
  for (const ClockPair& each : report.budget.pairs) {
    clocks.push_back(json::object{{"from", station_name(report.chain, each.from)},
                                  {"to", station_name(report.chain, each.to)},
                                  {"hop", links[each.last_link].hop},
                                  {"margin_stated", rounded(each.stated)},
                                  {"margin_least", rounded(each.least)},
                                  {"most_apart_ppm", rounded(each.apart_ppm)}});
  }
  return clocks;
}

json::array divisors_json(const BudgetReport& report) {
  json::array divisors;
  for (const DivisorBudget& each : report.budget.divisors) {
    json::array stations;
    for (const std::uint16_t station : each.stations)
      stations.push_back(json::value(station_name(report.chain, station)));
    divisors.push_back(json::object{{"stations", stations},
                                    {"oscillator_hz", each.oscillator_hz},
                                    {"oversampling", each.oversampling},
                                    {"divisor", each.divisor},
                                    {"error_percent", rounded(each.error_percent)},
                                    {"nearest_divisor", each.nearest},
                                    {"nearest_error_percent", rounded(each.nearest_error_percent)}});
  }
  return divisors;
}

json::object checks_json(const BudgetReport& report) {
  const BusChecks& checks = report.budget.checks;
  json::object object;
  json::array& lengths = object["lengths"].emplace_array();
  for (const CheckedLength& each : checks.lengths) {
    const CheckSpec& check = check_at(report.bus, each.shape, each.part);
    lengths.push_back(json::object{{"check", check.name},
                                   {"kind", kind_of_check(check)},
                                   {"frame_bytes", each.frame_bytes},
                                   {"bits", each.bits},
                                   {"hamming_distance", each.distance},
                                   {"at_least", each.at_least}});
  }
  object["parts_under_no_check"] = json::array(checks.unchecked.begin(), checks.unchecked.end());
  object["bit_error"] = report.wish.bit_error ? json::value(*report.wish.bit_error) : json::value(nullptr);
  object["frames_a_year"] = rounded(checks.frames_a_year);
  object["unnoticed_a_year"] =
      checks.unnoticed_a_year ? json::value(rounded(*checks.unnoticed_a_year)) : json::value(nullptr);
  return object;
}

}  // namespace

std::string budget_json(const BudgetReport& report) {
  json::object document;
  document["schema"] = "hopbench.budget/1";
  document["scenario"] = report.chain.name;
  document["worked_out"] = "in closed form; nothing was simulated or measured";
  document["bus"] = report.bus.name;
  document["baud"] = report.bus.line.baud;
  document["time_out_ns"] = span(report.chain.controller.time_out);
  document["works"] = report.budget.works();
  document["late_at_best"] = report.budget.late_at_best();
  document["never_answered"] = report.budget.never_answered();
  document["nodes_without_room"] = report.budget.without_room();
  document["pairs_out_of_tolerance"] = report.budget.out_of_tolerance();
  json::array& entries = document["exchanges"].emplace_array();
  for (std::size_t i = 0; i < report.budget.entries.size(); ++i) entries.push_back(entry_json(report, i));
  document["cycle"] = cycle_json(report);
  document["wanted_cycle_ns"] = report.wish.cycle ? json::value(*report.wish.cycle) : json::value(nullptr);
  document["largest_chains"] = largest_json(report);
  document["buffers"] = buffers_json(report);
  document["clocks"] = clocks_json(report);
  document["divisors"] = divisors_json(report);
  document["checks"] = checks_json(report);
  return json_text(document);
}

}  // namespace hopbench
