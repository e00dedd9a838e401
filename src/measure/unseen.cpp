#include "measure/unseen.h"

#include <algorithm>
#include <map>
#include <string_view>
#include <tuple>

namespace hopbench {

void CellsUnseen::blind(Nanos from, Nanos to) {
  if (seen_once) {
    if (from > last) between(last, from);
  } else {
    first = from;
    seen_once = true;
  }
  last = std::max({last, from, to});
}

void CellsUnseen::append(const CellsUnseen& next) {
  ever_seen = ever_seen || next.ever_seen;
  if (!next.seen_once) return;
  if (seen_once) {
    between(last, next.first);
  } else {
    first = next.first;
    seen_once = true;
  }
  if (next.longest.span > longest.span) longest = next.longest;
  last = next.last;
}

void CellsUnseen::close_ends(Nanos from, Nanos until) {
  longest = longest_in(from, until);
  seen_once = false;
  first = 0;
  last = 0;
}

CellsUnseen::Longest CellsUnseen::longest_in(Nanos from, Nanos until) const {
  // The first of the longest ones, so the beginning goes first.
  CellsUnseen all;
  if (!seen_once) {
    if (from < until) all.between(from, until);
    return all.longest;
  }
  if (from < first) all.between(from, first);
  if (longest.span > all.longest.span) all.longest = longest;
  if (last < until) all.between(last, until);
  return all.longest;
}

std::vector<CellsUnseen> cell_groups(const RunInfo& run, std::vector<GroupSpan>& of_entry) {
  std::map<std::string_view, std::uint16_t> node_named;
  for (std::size_t i = 0; i < run.nodes.size() && i < 0xffff; ++i) {
    node_named.emplace(run.nodes[i], static_cast<std::uint16_t>(i));
  }
  // Every place where some entry's cells begin or end is a border between groups.
  struct Border {
    std::uint16_t node;
    std::uint64_t cell;
    int change;  // of the number of entries that tell of the cells from here on
  };
  std::vector<Border> borders;
  const auto node_of = [&](const EntryInfo& entry) {
    return entry.cells > 0 ? node_named.find(entry.node) : node_named.end();
  };
  for (const auto& entry : run.entries) {
    const auto node = node_of(entry);
    if (node == node_named.end()) continue;
    borders.push_back({node->second, entry.first_cell, 1});
    borders.push_back({node->second, std::uint64_t{entry.first_cell} + entry.cells, -1});
  }
  std::sort(borders.begin(), borders.end(),
            [](const Border& a, const Border& b) { return std::tie(a.node, a.cell) < std::tie(b.node, b.cell); });
  std::vector<CellsUnseen> groups;
  int telling = 0;
  for (std::size_t i = 0; i < borders.size(); ++i) {
    telling += borders[i].change;
    if (telling == 0 || borders[i].cell == borders[i + 1].cell) continue;
    CellsUnseen group;
    group.node = borders[i].node;
    group.first_cell = static_cast<std::uint32_t>(borders[i].cell);
    group.cells = static_cast<std::uint32_t>(borders[i + 1].cell - borders[i].cell);
    groups.push_back(group);
  }
  const auto first_from = [&](std::uint16_t node, std::uint64_t cell) {
    const auto found = std::lower_bound(
        groups.begin(), groups.end(), std::pair(node, cell),
        [](const auto& a, const auto& b) { return std::pair<std::uint16_t, std::uint64_t>(a.node, a.first_cell) < b; });
    return static_cast<std::uint32_t>(found - groups.begin());
  };
  of_entry.clear();
  for (const auto& entry : run.entries) {
    const auto node = node_of(entry);
    GroupSpan span;
    if (node != node_named.end()) {
      span.begin = first_from(node->second, entry.first_cell);
      span.end = first_from(node->second, std::uint64_t{entry.first_cell} + entry.cells);
    }
    of_entry.push_back(span);
  }
  return groups;
}

Nanos answer_end(const ExchangeObs& obs) {
  if (obs.round_trip < 0) return obs.decided;
  // The answer of an earlier try may have ended the wait of a later one. What was answered after that is not it.
  Nanos end = -1;
  for (const Attempt& attempt : obs.attempts) {
    // Wraps instead of overflowing, whatever a made-up capture holds.
    const auto then =
        static_cast<Nanos>(static_cast<std::uint64_t>(attempt.start) + static_cast<std::uint64_t>(obs.round_trip));
    const bool came = attempt.outcome == Outcome::answered || attempt.outcome == Outcome::late;
    if (came && then <= obs.decided) end = std::max(end, then);
  }
  return end < 0 ? obs.decided : end;
}

}  // namespace hopbench
