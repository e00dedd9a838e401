#include "study/rates.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <functional>
#include <optional>

#include "judge/clusters.h"
#include "judge/merged_bins.h"
#include "study/cases.h"
#include "study/words.h"

namespace hopbench {
namespace {

constexpr std::size_t most_ranges = 8;  // of an ordered condition, before those that do not differ are joined
constexpr std::size_t most_places = 5;  // nodes or hops with a row of their own
constexpr std::size_t most_topics = 12;

std::uint64_t whole(double number) { return static_cast<std::uint64_t>(number + 0.5); }

/// With limits that count trials for what they are worth in clusters.
RateRow row_of(std::string label, std::uint64_t failed, std::uint64_t of, const std::vector<Counted>& clusters) {
  RateRow row{std::move(label), std::min(failed, of), of, {}};
  double trials = 0;
  for (const auto& each : clusters) trials += each.trials;
  const double worth = effective_trials(clusters);
  const double part = trials > 0 && worth > 0 ? std::min(1.0, worth / trials) : 1.0;
  const auto known = effective_share(static_cast<double>(row.failed) * part, static_cast<double>(row.of) * part);
  if (known) row.share = *known;
  return row;
}

std::string number_in(const std::string& text) {
  const auto word = text.substr(0, text.find(' '));
  return word == "no" ? "none" : word;
}

std::string label_of(Condition condition, BinRange bins) {
  const auto [first, last] = bins;
  switch (condition) {
    case Condition::balancing: {
      const auto from = number_in(bin_from(condition, first));
      const auto to = number_in(bin_to(condition, last));
      return from == to ? from : from + " to " + to;
    }
    case Condition::charge: {
      const auto to = bin_to(condition, last);
      if (last == 0) return "none";
      if (first == 0) return "none to " + to;
      if (first == 1) return "up to " + to;
      const auto from = bin_from(condition, first);
      return from == to ? "over " + to : number_in(from) + " to " + to;
    }
    case Condition::temperature:
      if (first == 0) return fmt::format("below {}", temperature_from(last + 1));
      if (last == bin_count - 1) return fmt::format("{} and above", temperature_from(first));
      return fmt::format("{} to {}", temperature_from(first), temperature_from(last + 1));
    case Condition::hour:
      return fmt::format("{:02}:00 to {:02}:00", first, last + 1);
    case Condition::length:
      if (last == bin_count - 1) return fmt::format("{} and more", 8 * first);
      return fmt::format("{} to {}", 8 * first, 8 * last + 7);
    case Condition::supply:
    case Condition::gap:
    case Condition::distance:
    case Condition::payload:
      break;
  }
  return bin_text(condition, first);
}

/// Tries and failures by bin, and by cluster in each bin.
struct Binned {
  std::array<Counted, bin_count> bins{};
  std::vector<std::array<Counted, bin_count>> clusters;

  void add(std::size_t bin, std::size_t cluster, double tries, double failures) {
    if (bin >= bin_count) return;
    if (clusters.size() <= cluster) clusters.resize(cluster + 1);
    for (Counted* each : {&bins[bin], &clusters[cluster][bin]}) {
      each->trials += tries;
      each->hits += failures;
    }
  }
};

std::vector<RateRow> rows_of(Condition condition, const Binned& binned) {
  std::vector<RateRow> rows;
  for (const auto range : merged_bins(binned.bins, most_ranges)) {
    const auto sum = [&](const std::array<Counted, bin_count>& bins) {
      Counted all;
      for (std::size_t bin = range.first; bin <= range.last; ++bin) {
        all.hits += bins[bin].hits;
        all.trials += bins[bin].trials;
      }
      return all;
    };
    std::vector<Counted> clusters;
    for (const auto& each : binned.clusters) clusters.push_back(sum(each));
    const auto all = sum(binned.bins);
    rows.push_back(row_of(label_of(condition, range), whole(all.hits), whole(all.trials), clusters));
  }
  return rows;
}

RateTable by_state(const Evidence& evidence, Condition condition, std::string title) {
  RateTable table{name_of(condition), std::move(title), true, {}, {}, 0, {}, 0};
  if (!evidence.rates_known() || !evidence.is_known(condition)) return table;
  const bool cycles = clusters_are_cycles(evidence);
  Binned binned;
  for (const auto& moment : evidence.moments) {
    binned.add(moment.bin(condition), cycles ? moment.cycle : moment.block, static_cast<double>(moment.tries),
               static_cast<double>(moment.failures));
  }
  table.rows = rows_of(condition, binned);
  return table;
}

/// Failures of each entry by block of time.
std::vector<std::vector<double>> failures_by_block(const Evidence& evidence) {
  std::vector<std::vector<double>> failures;
  for (const auto& block : evidence.asked) failures.emplace_back(block.size(), 0);
  for (const auto& incident : evidence.incidents) {
    const auto block = evidence.moments[incident.moment].block;
    if (block >= failures.size() || incident.entry >= failures[block].size()) continue;
    failures[block][incident.entry] += evidence.one_incident_in;
  }
  return failures;
}

/// What plan entries have in common: tries and failures by block of time, for as many groups as there are.
std::vector<std::vector<Counted>> grouped_entries(const Evidence& evidence, std::size_t groups,
                                                  const std::function<std::size_t(std::size_t)>& group_of) {
  const auto failures = failures_by_block(evidence);
  std::vector<std::vector<Counted>> all(groups, std::vector<Counted>(evidence.asked.size()));
  for (std::size_t block = 0; block < evidence.asked.size(); ++block) {
    for (std::size_t entry = 0; entry < evidence.asked[block].size(); ++entry) {
      const auto group = group_of(entry);
      if (group >= groups) continue;
      all[group][block].trials += evidence.asked[block][entry];
      all[group][block].hits += failures[block][entry];
    }
  }
  return all;
}

RateTable by_length(const Evidence& evidence) {
  RateTable table{name_of(Condition::length), "reply length, characters", true, {}, {}, 0, {}, 0};
  if (!evidence.rates_known()) return table;
  Binned binned;
  for (std::size_t block = 0; block < evidence.length_tries.size(); ++block) {
    for (std::size_t bin = 0; bin < bin_count; ++bin) {
      binned.add(bin, block, static_cast<double>(evidence.length_tries[block][bin]),
                 static_cast<double>(evidence.length_failures[block][bin]));
    }
  }
  table.rows = rows_of(Condition::length, binned);
  return table;
}

/// A node, hop or topic, with what was counted in each cluster.
struct Place {
  RateRow row;
  std::vector<Counted> clusters;
};

Place place_of(std::string label, std::uint64_t failed, std::uint64_t of, std::vector<Counted> clusters) {
  auto row = row_of(std::move(label), failed, of, clusters);
  return {std::move(row), std::move(clusters)};
}

/// Puts the worst first and what never failed together. Worst is what surely fails most: by the lower limit.
void put(RateTable& table, std::vector<Place> all, std::size_t most) {
  std::erase_if(all, [](const Place& place) { return place.row.of == 0; });
  std::stable_sort(all.begin(), all.end(), [](const Place& one, const Place& other) {
    const auto& a = one.row;
    const auto& b = other.row;
    if ((a.failed == 0) != (b.failed == 0)) return b.failed == 0;
    return a.share.low != b.share.low ? a.share.low > b.share.low : a.share.value > b.share.value;
  });
  const auto failing = static_cast<std::size_t>(
      std::count_if(all.begin(), all.end(), [](const Place& place) { return place.row.failed > 0; }));
  const std::size_t listed = failing > most + 1 ? most : failing;
  for (std::size_t i = 0; i < listed; ++i) table.rows.push_back(std::move(all[i].row));
  const auto together = [&](std::size_t from, std::size_t to) {
    Place sum;
    for (std::size_t i = from; i < to; ++i) {
      sum.row.failed += all[i].row.failed;
      sum.row.of += all[i].row.of;
      sum.clusters.resize(std::max(sum.clusters.size(), all[i].clusters.size()));
      for (std::size_t c = 0; c < all[i].clusters.size(); ++c) {
        sum.clusters[c].hits += all[i].clusters[c].hits;
        sum.clusters[c].trials += all[i].clusters[c].trials;
      }
    }
    return row_of({}, sum.row.failed, sum.row.of, sum.clusters);
  };
  table.others_count = failing - listed;
  table.healthy_count = all.size() - failing;
  if (table.others_count > 0) table.others = together(listed, failing);
  if (table.healthy_count > 0) table.healthy = together(failing, all.size());
}

RateTable by_topic(const Evidence& evidence) {
  RateTable table{"topic", "topic", false, {}, {}, 0, {}, 0};
  std::vector<Place> rows;
  const auto& topics = evidence.topics;
  const auto& entries = evidence.run.entries;
  const auto by_block = grouped_entries(evidence, topics.size(), [&](std::size_t entry) {
    return static_cast<std::size_t>(std::find(topics.begin(), topics.end(), entries[entry].topic) - topics.begin());
  });
  for (std::size_t i = 0; i < topics.size(); ++i) {
    const auto& of = evidence.by_topic[i];
    rows.push_back(place_of(topics[i].empty() ? "no topic" : topics[i], of.failures, of.tries, by_block[i]));
  }
  put(table, std::move(rows), most_topics);
  return table;
}

RateTable by_node(const Evidence& evidence) {
  RateTable table{"node", "node", false, {}, {}, 0, {}, 0};
  std::vector<Place> rows;
  const auto& nodes = evidence.run.nodes;
  std::vector<std::size_t> node_of;
  for (const auto& entry : evidence.run.entries) {
    node_of.push_back(static_cast<std::size_t>(std::find(nodes.begin(), nodes.end(), entry.node) - nodes.begin()));
  }
  const auto by_block = grouped_entries(evidence, nodes.size(), [&](std::size_t entry) { return node_of[entry]; });
  for (std::size_t i = 0; i < std::min(nodes.size(), evidence.nodes.size()); ++i) {
    const auto& of = evidence.nodes[i];
    rows.push_back(place_of(nodes[i], of.failures, of.tries, by_block[i]));
  }
  put(table, std::move(rows), most_places);
  return table;
}

RateTable by_hop(const Evidence& evidence) {
  RateTable table{"hop", "hop (frames not heard well)", false, {}, {}, 0, {}, 0};
  if (evidence.sight == Sight::controller_only) return table;
  std::vector<Place> rows;
  for (std::size_t i = 0; i < evidence.links.size(); ++i) {
    const auto& link = evidence.links[i];
    const auto& info = evidence.run.links[i];
    rows.push_back(place_of(fmt::format("{} ({} -> {})", info.hop, info.from, info.to), link.bad(), link.frames, {}));
  }
  put(table, std::move(rows), most_places);
  return table;
}

std::string unknown_of(const Evidence& evidence) {
  if (!evidence.rates_known()) {
    return "Rates by condition are not known: the capture keeps no healthy exchange whole. Thin with --keep-one-in 20, "
           "or so, to keep some.";
  }
  std::vector<std::string> parts;
  for (const auto condition : {Condition::balancing, Condition::charge, Condition::temperature}) {
    const auto& known = evidence.known[static_cast<std::size_t>(condition)];
    if (known.exchanges == 0) {
      parts.push_back(fmt::format("{} ({})", phrase_of(condition),
                                  known.tellable == Tellable::no    ? "not told on this bus"
                                  : known.tellable == Tellable::yes ? "could be told on this bus, and was not"
                                                                    : "not told"));
      continue;
    }
    // Sums of a thinned capture stand for exchanges of which no condition was asked for.
    const auto told = evidence.exchanges - std::min(evidence.exchanges, evidence.tallied);
    const double part = static_cast<double>(known.exchanges) / static_cast<double>(std::max(told, known.exchanges));
    if (part < 0.9995)
      parts.push_back(fmt::format("{} for {} of the exchanges", phrase_of(condition), words::share(1 - part)));
  }
  return parts.empty() ? std::string() : fmt::format("Not known: {}.", words::list(parts));
}

std::string intervals_of(const Evidence& evidence) {
  const auto block = words::span(evidence.block_span);
  const std::string hops = evidence.sight == Sight::controller_only ? "" : "; on hops each frame counts by itself";
  if (evidence.asked.empty()) return "95 % intervals: each try counts by itself.";
  if (!clusters_are_cycles(evidence) || !evidence.rates_known())
    return fmt::format("95 % intervals: failures within {} count as one piece of evidence{}.", block, hops);
  return fmt::format(
      "95 % intervals: failures within one charge cycle count as one piece of evidence (for topic, length and node: "
      "within {}){}.",
      block, hops);
}

}  // namespace

Rates rates_of(const Evidence& evidence) {
  Rates rates;
  auto& tables = rates.tables;
  tables.push_back(by_state(evidence, Condition::balancing, "cells balancing"));
  tables.push_back(by_state(evidence, Condition::charge, "charge current"));
  tables.push_back(by_state(evidence, Condition::temperature, "warmest board, degrees C"));
  tables.push_back(by_state(evidence, Condition::hour,
                            evidence.wall_zero ? "hour of the day (UTC)" : "hour, counted from the start"));
  tables.push_back(by_topic(evidence));
  tables.push_back(by_length(evidence));
  tables.push_back(by_node(evidence));
  tables.push_back(by_hop(evidence));
  std::erase_if(tables, [](const RateTable& table) { return table.rows.empty() && table.healthy_count == 0; });
  rates.unknown = unknown_of(evidence);
  rates.intervals = intervals_of(evidence);
  return rates;
}

}  // namespace hopbench
